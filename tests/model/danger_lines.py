"""The files of lines about danger, and the sentences of the corpora."""

from pathlib import Path
from typing import NamedTuple

from tests.model.corpus import Set, sentences

HERE = Path(__file__).parent
LANGUAGES = ("en", "de")


class Sentence(NamedTuple):
    """A sentence of a corpus, with the words of its label."""

    label: tuple[str, ...]
    text: str

    @property
    def stance(self) -> str:
        """``danger``, ``denied``, ``either`` where the label leaves it open, or empty."""
        found = [word for word in self.label if "danger" in word or "denied" in word]
        if not found:
            return ""
        return found[0] if found[0] in ("danger", "denied") else "either"


def lines(name: str) -> list[str]:
    """The lines of ``danger_NAME.txt``; those with "# " in front are comments."""
    text = (HERE / f"danger_{name}.txt").read_text(encoding="utf-8")
    return [line for line in text.splitlines() if line and not line.startswith("# ")]


def corpus(language: str, part: Set) -> list[Sentence]:
    """The sentences of one of its files."""
    return [
        Sentence(tuple(found.written.replace("?", "").split()), found.text)
        for found in sentences(language, part)
    ]
