"""Comparing software versions as labels and management pages show them.

A version is numbers with dots between them. A leading ``v`` or ``version`` is ignored, missing
numbers count as zero (4.2 equals 4.2.0). A suffix behind a dash, or letters behind the last
number (``4.2.0-rc1``, ``4.2.0b2``), marks something built before the release, so it counts as
older than the same numbers without it; two suffixes of the same numbers compare by their
numbers and words. What follows a plus (``4.2.0+build7``) does not count. This is the order of
Semantic Versioning 2.0.0 (semver.org, clause 11) for versions of three numbers.
"""

import re
from typing import NamedTuple

_FORM = re.compile(
    r"\s*(?:(?:version|ver|v)[\s.:]{0,3})?(?P<numbers>\d{1,9}(?:\.\d{1,9}){0,7})"
    r"(?:-?(?P<suffix>[a-z][0-9a-z.-]{0,40})|-(?P<dashed>[0-9][0-9a-z.-]{0,40}))?"
    r"(?:\+[0-9a-z.-]{1,80})?\s*",
    re.IGNORECASE | re.ASCII,
)
_PIECE = re.compile(r"\d+|[a-z]+")


class Version(NamedTuple):
    """Sorts by age, oldest first."""

    numbers: tuple[int, ...]  # no zeros at the end
    released: bool
    suffix: tuple[tuple[bool, int, str], ...] = ()  # numbers before words


def parse(text: str) -> Version:
    """Read a version. Raises ``ValueError`` with a sentence when it is none."""
    found = _FORM.fullmatch(text[:200])
    if found is None:
        raise ValueError(f"not a version: {text[:40]!r}; write numbers with dots, as in 4.2.0")
    numbers = [int(number) for number in found["numbers"].split(".")]
    while numbers and numbers[-1] == 0:
        numbers.pop()
    suffix = (found["suffix"] or found["dashed"] or "").lower()
    pieces = tuple(
        (False, int(piece), "") if piece.isdecimal() else (True, 0, piece)
        for piece in _PIECE.findall(suffix)
    )
    return Version(tuple(numbers), not suffix, pieces)


def cut_short(version: str, least: str) -> bool:
    """Whether ``version`` has fewer numbers than ``least``: perhaps only its beginning was read.

    Raises ``ValueError`` if one is no version.
    """
    return _count(version) < _count(least)


def _count(text: str) -> int:
    parse(text)
    found = _FORM.fullmatch(text[:200])
    return found["numbers"].count(".") + 1 if found else 0


def at_least(version: str, least: str) -> bool:
    """Whether ``version`` is ``least`` or newer. Raises ``ValueError`` if one is no version."""
    return parse(version) >= parse(least)
