"""Sentences as site contacts type them, with what a patient colleague would take from each.

``<language>/tune.txt`` (two thirds) and ``<language>/kept.txt`` (one third, for testing only:
whoever works on the reader does not read it). One sentence a line, ``#`` and blank lines allowed:

    QUESTION | LABEL | sentence exactly as typed

A label is one or more words, divided by blanks; all of them are said. ``/`` divides words of which
each would be right; ``?`` behind a word says that it is too unsure to act on. A word is a kind of
reading (``bot.model.reading.Kind``), ``denied`` (no danger, they say), or with what was said:
``light:COLOURS,MODE[,RATE]``, ``light:same``, ``light:several``, ``serial:X``, ``version:X``,
``choice:X``, ``language:X``, ``later:MINUTES`` or ``later:HH:MM``. ``correction`` stands before
what is said in place of something earlier.
"""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Literal, cast, get_args

import msgspec

from bot.model.reading import Heard, Kind

Set = Literal["tune", "kept"]
LANGUAGES = ("en", "de")
SETS: tuple[Set, ...] = ("tune", "kept")
COLOURS = ("white", "green", "yellow", "red", "other")
MODES = ("steady", "blinking", "off", "?")
RATES = ("slow", "fast")
#: Where each question is asked.
HEARD: dict[str, Heard] = {
    "consent": Heard(stage="invitation", ask="consent"),
    "begin": Heard(stage="begin", ask="begin"),
    "mobile": Heard(stage="mobile_data", ask="mobile"),
    "confirm": Heard(stage="cabling", ask="confirm"),
    "confirm_power": Heard(stage="power_on", ask="confirm"),
    "serial": Heard(stage="inventory", ask="serial"),
    "version": Heard(stage="inventory", ask="version"),
    "lead": Heard(
        stage="inventory", ask="choice", answers=("lead_one", "lead_two", "lead_missing")
    ),
    "light_loading": Heard(stage="loading", ask="light"),
    "light_registry": Heard(stage="registry", ask="light"),
    "callback": Heard(stage="mobile_data", ask="callback"),
    "none": Heard(stage=""),
}
_KINDS = frozenset((*get_args(Kind), "denied"))
_NEEDS_VALUE = frozenset(("light", "serial", "version", "choice", "language"))
_MAY_HAVE_VALUE = _NEEDS_VALUE | {"later"}
_LATER = re.compile(r"\d{1,4}|\d{2}:\d{2}")
_HERE = Path(__file__).parent


class Shown(msgspec.Struct, frozen=True):
    """A light as it was said; ``?`` and empty where it was not."""

    colours: tuple[str, ...] = ()
    mode: str = "?"
    rate: str = ""


class Word(msgspec.Struct, frozen=True):
    """One thing said. ``value`` as in the label; ``shown`` for a light that is described."""

    kind: str
    value: str = ""
    unsure: bool = False
    shown: Shown | None = None


class Label(msgspec.Struct, frozen=True):
    """All that is said; of each, the words that would be right."""

    said: tuple[tuple[Word, ...], ...]
    correction: bool = False


class Sentence(msgspec.Struct, frozen=True):
    """One line of the corpus."""

    language: str
    question: str
    written: str  # the label as written
    label: Label
    text: str


def parse_label(text: str) -> Label:
    """Raises ``ValueError`` saying what is wrong."""
    words = text.split()
    correction = words[:1] == ["correction"]
    said = tuple(tuple(map(parse_word, word.split("/"))) for word in words[correction:])
    if not said:
        raise ValueError(f"the label {text!r} says nothing")
    return Label(said, correction)


def parse_word(text: str) -> Word:
    """One word of a label. Raises ``ValueError``."""
    kind, mark, value = text.partition(":")
    if kind.removesuffix("?") == "light" and "," in value:
        return _described(value)
    unsure = text.endswith("?")
    kind, value = kind.removesuffix("?"), value.removesuffix("?")
    if kind not in _KINDS or kind == "correction":
        raise ValueError(f"{text!r}: there is no kind {kind!r}")
    if bool(mark) != bool(value) or (value and kind not in _MAY_HAVE_VALUE):
        raise ValueError(f"{text!r}: {kind!r} takes no such value")
    if kind in _NEEDS_VALUE and not value:
        raise ValueError(f"{text!r}: {kind!r} needs a value")
    if kind == "light" and value not in ("same", "several"):
        raise ValueError(f"{text!r}: a light is described as COLOURS,MODE[,RATE], same or several")
    if kind == "later" and value and not _LATER.fullmatch(value):
        raise ValueError(f"{text!r}: later takes minutes or HH:MM")
    return Word(kind, value, unsure)


def _described(value: str) -> Word:
    """``COLOURS,MODE[,RATE]``, with one more ``?`` behind it when unsure."""
    colours, mode, *rates = value.split(",")
    last = rates[-1] if rates else mode
    unsure = last.endswith("?") and last != "?"
    if unsure and rates:
        rates = [last[:-1]]
    elif unsure:
        mode = last[:-1]
    named = () if colours == "?" else tuple(colours.split("+"))
    if not set(named) <= set(COLOURS) or mode not in MODES or len(rates) > 1:
        raise ValueError(f"'light:{value}': colours are {', '.join(COLOURS)}, modes {MODES}")
    if rates and (rates[0] not in RATES or mode != "blinking"):
        raise ValueError(f"'light:{value}': slow and fast are rates of blinking")
    return Word("light", value, unsure, Shown(named, mode, rates[0] if rates else ""))


def sentences(language: str, which: Set) -> list[Sentence]:
    """One file of the corpus. Raises ``ValueError`` with file and line."""
    path = _HERE / language / f"{which}.txt"
    return list(_read(path, language))


def _read(path: Path, language: str) -> Iterator[Sentence]:
    for number, line in enumerate(path.read_text().splitlines(), 1):
        if not line.strip() or line.startswith("#"):
            continue
        try:
            yield _sentence(line, language)
        except ValueError as error:
            raise ValueError(f"{path.name}, line {number}: {error}") from None


def _sentence(line: str, language: str) -> Sentence:
    cells = [cell.strip() for cell in line.split(" | ", 2)]
    if len(cells) != 3 or not cells[2]:
        raise ValueError("a line is QUESTION | LABEL | sentence")
    question, written, text = cells
    if question not in HEARD:
        raise ValueError(f"there is no question {question!r}")
    return Sentence(language, question, written, parse_label(written), text)


def which_sets(name: str) -> tuple[Set, ...]:
    """``tune``, ``kept`` or ``all``."""
    return SETS if name == "all" else (cast(Set, name),)
