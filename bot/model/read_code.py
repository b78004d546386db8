"""Serial numbers, versions and choices in words."""

import re
import unicodedata
from collections.abc import Collection, Iterator, Sequence

from bot.model.lexicon import Lexicon
from bot.model.reading import Heard, Reading
from bot.model.runbook import Runbook
from bot.model.serial import clean, normal
from bot.model.tokens import folded, words_of
from bot.model.words import Part, not_inside

_LONGEST = 2000  # characters looked at
_CODE = re.compile(r"[A-Za-z0-9]+(?:[-/][A-Za-z0-9]+)*")
_VERSION = re.compile(
    r"(?<![\w.:-])v?(?P<version>\d{1,4}(?:\.\d{1,4}){1,4}(?:-?(?:rc|beta|alpha|b|a)\.?\d{0,3})?)"
    r"(?![\w:-]|\.\w)"
)
_DASHES = str.maketrans(dict.fromkeys("_\u2010\u2011\u2012\u2013\u2014\u2212", "-"))
_PHONE = re.compile(r"(?:\+|0)\d{9,14}")
_LEAST, _MOST = 5, 32  # letters and digits of a serial
#: When no serial was asked for, only what can hardly be anything else counts.
_LEAST_UNASKED = 8
_SPELT = 4  # longest run of letters that belongs to the digits beside it


def serial_readings(text: str, heard: Heard, book: Runbook, lexicon: Lexicon) -> list[Reading]:
    """The serial number in the words, for showing; asked back when there are several."""
    asked = heard.ask == "serial"
    models = {normal(model) for model in book.models}
    found: dict[str, str] = {}
    for code in _codes(unicodedata.normalize("NFKC", text[:_LONGEST]), models, lexicon):
        serial = clean(code)
        bare = normal(serial)
        letters = any(sign.isalpha() for sign in bare)
        least = _LEAST if asked else _LEAST_UNASKED
        if not least <= len(bare) <= _MOST or _PHONE.fullmatch(bare):
            continue
        if asked or letters:
            found.setdefault(bare, serial)
    if not found:
        return []
    if len(found) > 1:
        rule = "several_serials"
        return [Reading(kind="serial", confidence=0.5, rule=rule, ask="ask_again")]
    return [Reading(kind="serial", rule="serial", value=next(iter(found.values())))]


def _codes(text: str, models: Collection[str], lexicon: Lexicon) -> Iterator[str]:
    """Runs of what looks like a code: a digit in it, or letters that belong to the digits.

    The name of a model is printed beside the serial on many labels and is none.
    """
    run: list[str] = []
    for raw in re.split(r"[\s:#=()\[\]]+", text.translate(_DASHES)):
        if raw.casefold() in lexicon.dashes:
            continue
        token = raw.strip(".,;!?\"'`*_<>")
        code = _CODE.fullmatch(token) is not None and normal(token) not in models
        belongs = code and _belongs(token, lexicon)
        if belongs:
            run.append(token)
        if not belongs or raw.endswith((",", ";", ".")):
            yield from _joined(run, lexicon)
            run = []
    yield from _joined(run, lexicon)


def _belongs(token: str, lexicon: Lexicon) -> bool:
    if any(sign.isdigit() for sign in token):
        return not _is_measure(token, lexicon)
    bare = normal(token).casefold().replace("/", "")
    ordinary = bare in lexicon.known or bare in lexicon.serial_labels
    return len(token) == 1 or (len(token) <= _SPELT and not ordinary)


def _is_measure(token: str, lexicon: Lexicon) -> bool:
    """A number with its unit, as in 20min, and nothing else."""
    words = words_of(token)
    return any(
        hit.meaning.startswith("minutes:") and hit.end - hit.start == len(words)
        for hit in lexicon.times.find(words)
    )


def _joined(run: Sequence[str], lexicon: Lexicon) -> Iterator[str]:
    """One code out of its pieces, without the label in front ("S HML-4F7K2Q")."""
    labels = 0
    while labels < len(run) - 1 and run[labels].casefold() in lexicon.serial_labels:
        labels += 1
    if labels and len(run[labels]) >= _LEAST:
        run = run[labels:]
    if any(sign.isdigit() for token in run for sign in token):
        yield run[0] if len(run) == 1 else "".join(run)


def version_readings(text: str, heard: Heard, lexicon: Lexicon) -> list[Reading]:
    """The version in the words; asked back when there are several or only one number."""
    asked = heard.ask == "version"
    words = folded(text[:_LONGEST])
    if asked:
        dots = "|".join(re.escape(dot) for dot in lexicon.dots)
        words = re.sub(rf"(?<=\d)\s*\b(?:{dots})\b\s*(?=\d)", ".", words)
    labels = "|".join(re.escape(label) for label in lexicon.version_labels)
    labelled = re.search(rf"\b(?:{labels})\b[\s.:]*(?:is\s+)?v?\d", words)
    found = {
        match["version"]: None
        for match in _VERSION.finditer(words)
        if asked or labelled or match["version"].count(".") == 2
    }
    if len(found) == 1:
        return [Reading(kind="version", rule="version", value=next(iter(found)))]
    if found or (asked and labelled):
        return [
            Reading(kind="version", confidence=0.5, rule="no_version", ask="read_version_nudge")
        ]
    return []


def choice_readings(parts: Sequence[Part], heard: Heard) -> list[Reading]:
    """One of the open question's answers by its words; asked back when several fit."""
    if heard.ask != "choice":
        return []
    found: dict[str, bool] = {}
    for part in parts:
        hits = [hit for hit in part.picks if hit.meaning in heard.answers]
        for hit in not_inside(hits):
            plain = not (part.asks or part.hedged)
            found[hit.meaning] = found.get(hit.meaning, True) and plain
    if not found:
        return []
    sure = [answer for answer, plain in found.items() if plain]
    if len(found) == 1 and sure:
        return [Reading(kind="choice", rule="choice", value=sure[0])]
    return [Reading(kind="choice", confidence=0.5, rule="several_choices", ask="ask_again")]
