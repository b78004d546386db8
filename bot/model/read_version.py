"""Software versions in words: 4.2.0, "four point two point zero", SW4.2."""

import re
from collections.abc import Sequence

from bot.model.lexicon import Lexicon
from bot.model.reading import Heard, Reading
from bot.model.tokens import folded
from bot.model.words import Part

_LONGEST = 2000  # characters looked at
_DIGIT = re.compile(r"\d")
_VERSION = re.compile(
    r"(?<![\w.:-])v?(?P<version>\d{1,4}(?:\.\d{1,4}){1,4}(?:-?(?:rc|beta|alpha|b|a)\.?\d{0,3})?)"
    r"(?![\w:-]|\.\w)"
)
#: Single numbers in a row, as people spell a version out: "4 2 0" or "4,2,0".
_SPELT = re.compile(r"(?<![\w.,:-])\d{1,2}(?:(?: |, ?|\. )\d{1,2}){2}(?![\w.:-])")


def version_readings(
    text: str, parts: Sequence[Part], heard: Heard, lexicon: Lexicon
) -> list[Reading]:
    """The version in the words; asked back when there are several or only one number."""
    asked = heard.ask == "version"
    if not asked and not _DIGIT.search(text):
        return []
    words = folded(text[:_LONGEST])
    if asked:
        words = _in_digits(words, lexicon)
    label = _label(lexicon)
    labelled = label.search(words)
    words = label.sub(lambda found: f" {found['number']}", words)
    found = {
        match["version"]: _denied(words[: match.start()], lexicon)
        for match in _VERSION.finditer(words)
        if asked or labelled or match["version"].count(".") == 2
    }
    meant = [version for version, denied in found.items() if not denied]
    vague = asked and any(hit.meaning == "vague" for part in parts for hit in part.signs)
    if len(meant) == 1 and not vague:
        return [Reading(kind="version", rule="version", value=meant[0])]
    if found or (asked and labelled):
        return [
            Reading(kind="version", confidence=0.5, rule="no_version", ask="read_version_nudge")
        ]
    return []


def _label(lexicon: Lexicon) -> re.Pattern[str]:
    labels = "|".join(re.escape(label) for label in lexicon.version_labels)
    return re.compile(rf"\b(?:{labels})[\s.:]*(?:is\s+)?v?(?P<number>\d)")


def _in_digits(words: str, lexicon: Lexicon) -> str:
    """Numbers and dots that are written as words, and numbers one after the other, as 4.2.0."""
    numbers = {
        word: str(int(value)) for word, value in lexicon.numbers.items() if value == int(value)
    }
    words = re.sub(r"[^\W\d_]+", lambda found: numbers.get(found[0], found[0]), words)
    dots = "|".join(re.escape(dot) for dot in lexicon.dots)
    words = re.sub(rf"(?<=\d)\s*\b(?:{dots})\b\s*(?=\d)", ".", words)
    return _SPELT.sub(lambda found: ".".join(re.findall(r"\d+", found[0])), words)


def _denied(before: str, lexicon: Lexicon) -> bool:
    """Whether a negation stands right before: "4.4.1 not 4.2.0"."""
    last = before.split()[-1:]
    return bool(last) and last[0] in lexicon.negating_words
