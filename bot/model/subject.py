"""What a commit changes: one subject, living under one home (one hash tag, one atomic slot)."""

import re

import msgspec

#: Wave and site names are used in keys and fact ids, so they carry no separators.
SLUG = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,47}")

#: In place of a site: every visit of the wave. No site can be called so.
EVERY = "*"


class Subject(msgspec.Struct, frozen=True, gc=False, order=True):
    """One aggregate with a version of its own.

    ``home`` is the hash tag everything of the subject lives under (``w:WAVE``, ``c:ID``,
    ``rota``, ``aside``, ``ch:ID``); ``name`` tells subjects of one home apart
    (``wave``, ``v:SITE``, ``cause``, ``rota``, ``aside``, ``channel``).
    """

    home: str
    name: str

    def __str__(self) -> str:
        return f"{self.home}/{self.name}"

    @property
    def kind(self) -> str:
        """``visit``, ``wave``, ``cause``, ``rota``, ``aside`` or ``channel``."""
        return "visit" if self.name.startswith("v:") else self.name

    @property
    def wave(self) -> str:
        """Name of the wave this subject belongs to; empty for subjects of no wave."""
        return self.home[2:] if self.home.startswith("w:") else ""

    @property
    def site(self) -> str:
        """Site of a visit; empty for any other subject."""
        return self.name[2:] if self.name.startswith("v:") else ""


def parse(text: str) -> Subject:
    """Read back what ``str(subject)`` wrote. Raises ``ValueError`` on anything else."""
    home, slash, name = text.partition("/")
    if not slash or not home or not name:
        raise ValueError(f"not a subject: {text!r}")
    return Subject(home, name)


def of_wave(wave: str) -> Subject:
    return Subject(f"w:{wave}", "wave")


def of_visit(wave: str, site: str) -> Subject:
    return Subject(f"w:{wave}", f"v:{site}")


def of_cause(cause: str) -> Subject:
    return Subject(f"c:{cause}", "cause")


ASIDE = Subject("aside", "aside")
ROTA = Subject("rota", "rota")
