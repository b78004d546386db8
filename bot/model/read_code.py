"""Serial numbers and choices in words."""

import re
import unicodedata
from collections.abc import Collection, Iterator, Sequence

from bot.model.lexicon import Lexicon
from bot.model.reading import Heard, Reading
from bot.model.runbook import Runbook
from bot.model.serial import clean, normal
from bot.model.tokens import words_of
from bot.model.words import Part, not_inside

_LONGEST = 2000  # characters looked at
_CODE = re.compile(r"[A-Za-z0-9]+(?:[-/][A-Za-z0-9]+)*")
_DASHES = str.maketrans(dict.fromkeys("_\u2010\u2011\u2012\u2013\u2014\u2212", "-"))
_DIGIT = re.compile(r"\d")
_PHONE = re.compile(r"(?:\+|0)\d{9,14}")
_LEAST, _MOST = 5, 32  # letters and digits of a serial
#: When no serial was asked for, only what can hardly be anything else counts.
_LEAST_UNASKED = 8
_SPELT = 4  # longest run of letters that belongs to the digits beside it


def serial_readings(text: str, heard: Heard, book: Runbook, lexicon: Lexicon) -> list[Reading]:
    """The serial number in the words, for showing; asked back when there are several."""
    if not _DIGIT.search(text):
        return []
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
        belongs = _belongs(token, lexicon) and normal(token) not in models
        if belongs:
            run.append(token)
        if not belongs or raw.endswith((",", ";", ".")):
            yield from _joined(run, lexicon)
            run = []
    yield from _joined(run, lexicon)


def _belongs(token: str, lexicon: Lexicon) -> bool:
    if _CODE.fullmatch(token) is None:
        return False
    if _DIGIT.search(token):
        return not _is_measure(token, lexicon)
    if len(token) > _SPELT:
        return False
    bare = normal(token).casefold().replace("/", "")
    ordinary = bare in lexicon.known or bare in lexicon.serial_labels
    return len(token) == 1 or not ordinary


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


def choice_readings(parts: Sequence[Part], heard: Heard) -> list[Reading]:
    """One of the open question's answers by its words; asked back when several fit."""
    if heard.ask not in ("choice", "check"):
        return []
    told: dict[str, bool] = {}
    asked: dict[str, bool] = {}
    for part in parts:
        hits = not_inside([hit for hit in part.picks if hit.meaning in heard.answers])
        turned = part.turned(hits)
        for hit, denied in zip(hits, turned, strict=True):
            if not denied:
                found = asked if part.asks else told
                found[hit.meaning] = found.get(hit.meaning, True) and not part.hedged
    if len(told) == 1 and all(told.values()):
        return [Reading(kind="choice", rule="choice", value=next(iter(told)))]
    if not told and (not asked or any(part.starts_asking for part in parts)):
        return []
    rule = "several_choices" if len(told | asked) > 1 else "maybe_choice"
    return [Reading(kind="choice", confidence=0.5, rule=rule, ask="ask_again")]
