"""Understanding what a person wrote: deterministic, explainable, never a guess.

``read`` gives every thing understood, the worst first; each names the rule that found it. A
reading with ``ask`` is not sure enough to act on: it holds the catalogue key of the one short
question to ask back.
"""

from collections.abc import Iterator, Sequence
from typing import cast, get_args

from bot.model.danger import find
from bot.model.lexicon import Lexicon, Meaning
from bot.model.phrases import Found
from bot.model.read_code import choice_readings, serial_readings, version_readings
from bot.model.read_light import light_readings
from bot.model.read_number import language_readings, number_readings
from bot.model.read_time import time_readings
from bot.model.reading import Heard, Kind, Reading
from bot.model.runbook import AskKind, Runbook
from bot.model.words import Part, not_inside, overlap, parts_of

#: Worst first.
ORDER: tuple[Kind, ...] = get_args(Kind)
#: What is asked back when the answer to an open question was not understood.
ASK_BACK: dict[AskKind | None, str] = {
    None: "ask_again",
    "consent": "ask_again",
    "begin": "ask_again",
    "mobile": "ask_again",
    "confirm": "ask_done",
    "serial": "ask_again",
    "version": "read_version_nudge",
    "choice": "ask_again",
    "light": "ask_negated",
    "callback": "callback_nudge",
}
#: Every catalogue key a reading may carry in ``ask``.
ASK_KEYS: frozenset[str] = frozenset(
    (
        *ASK_BACK.values(),
        "ask_colour",
        "ask_steady_or_blinking",
        "ask_fast_or_slow",
        "ask_which_light",
        "ask_danger",
        "ask_minutes",
    )
)
#: Which plain words answer which question.
ANSWERS: dict[AskKind, frozenset[Kind]] = {
    "consent": frozenset(("yes", "no")),
    "begin": frozenset(("yes", "done", "no")),
    "mobile": frozenset(("yes", "done", "no_signal")),
    "confirm": frozenset(("done",)),
    "serial": frozenset(("yes", "no", "serial")),
    "version": frozenset(("version",)),
    "choice": frozenset(("choice",)),
    "light": frozenset(("light",)),
}
#: Longest text read for anything but danger, in characters.
LONGEST = 2000
_PLAIN: frozenset[Kind] = frozenset(("yes", "no", "done", "seen"))
#: What gives way when the same words hold an answer, or something to act on.
_SMALL: frozenset[Kind] = frozenset(("seen", "thanks", "small_talk", "yes"))
_MEANINGS = frozenset(get_args(Meaning))
#: What a question may still say beside asking.
_KEPT_IN_QUESTIONS = frozenset(("help", "question", "small_talk", "no_signal", "other_time"))
#: What a word like "not" before it turns round.
_CAN_TURN = frozenset(("stop", "help", "power_cycled", "pause", "done", "yes"))
_UNSURE = frozenset(("done", "yes", "no_signal"))


def read(
    words: str,
    heard: Heard,
    book: Runbook,
    lexicon: Lexicon,
    *,
    dangers: Sequence[Lexicon] | None = None,
) -> list[Reading]:
    """Everything understood, the worst first; at least one reading, for any text at all.

    ``dangers`` are the lexicons whose words of danger count: all languages there are.
    """
    found: list[Reading] = []
    danger = find(words, (lexicon,) if dangers is None else dangers)
    if danger is not None:
        rule = danger.rule if danger.stance == "said" else danger.stance
        sure = {"said": 1.0, "asked": 0.7, "denied": 0.5}[danger.stance]
        ask = "ask_danger" if danger.stance == "denied" else ""
        found.append(Reading(kind="danger", confidence=sure, rule=rule, value=danger.word, ask=ask))
    text = words[:LONGEST]
    parts = parts_of(text, lexicon)
    answers = [
        *serial_readings(text, heard, book, lexicon),
        *version_readings(text, heard, lexicon),
        *choice_readings(parts, heard),
        *light_readings(parts, heard, book),
    ]
    found += answers
    found += number_readings(text, heard)
    found += language_readings(parts, lexicon, dangers or (lexicon,))
    if not any(reading.kind in ("serial", "version") for reading in answers):
        found += time_readings(parts, heard, lexicon)
    found += [reading for part in parts for reading in _meanings(part, heard)]
    settled = _settled(found, heard)
    settled = [_asked_back(reading, heard) for reading in settled]
    if not settled:
        rule = "no_words" if not parts else "not_known"
        settled = [Reading(kind="unclear", confidence=0.0, rule=rule, ask=ASK_BACK[heard.ask])]
    return sorted(settled, key=lambda reading: ORDER.index(reading.kind))


def _meanings(part: Part, heard: Heard) -> Iterator[Reading]:
    """What the clause means beside lights, times and codes."""
    whole = _whole(part)
    if part.asks:
        yield from _question(whole, part, heard)
        return
    if whole:
        for meaning, hit in whole.items():
            yield _reading(meaning, 1.0 if hit.exact else 0.9, heard)
        return
    hits = not_inside([hit for hit in part.signs if _means(hit, part)])
    doubt = any(hit.meaning in ("hedges", "unless") for hit in part.signs)
    said: dict[str, bool] = {}
    for hit in hits:
        meaning = hit.meaning.rstrip("?")
        said[meaning] = said.get(meaning, False) or not hit.meaning.endswith("?")
    for meaning, sure in said.items():
        if sure and not (doubt and meaning in _UNSURE):
            yield _reading(meaning, 0.9, heard)
        else:
            yield _unsure(meaning, heard)


def _means(hit: Found, part: Part) -> bool:
    """Whether the phrase has a meaning here, and no negation turns it round."""
    meaning = hit.meaning.rstrip("?")
    return meaning in _MEANINGS and not (meaning in _CAN_TURN and part.turned_round(hit))


def _whole(part: Part) -> dict[str, Found]:
    """Meanings that the clause says and nothing else, by the longest phrases."""
    hits = [hit for hit in part.alone if hit.meaning in _MEANINGS and part.says_only(hit)]
    whole = {hit.meaning: hit for hit in not_inside(hits)}
    if "no" in whole:  # a yes beside it is no filler; one inside it says nothing
        beside = [hit for hit in part.alone if hit.meaning == "yes"]
        whole |= {hit.meaning: hit for hit in beside if not overlap(hit, whole["no"])}
    return whole


def _question(whole: dict[str, Found], part: Part, heard: Heard) -> Iterator[Reading]:
    """What a question says beside asking: a call for help is one however it is put."""
    said = {hit.meaning for hit in part.signs} | set(whole)
    kept = sorted(said & _KEPT_IN_QUESTIONS)
    for meaning in kept:
        yield _reading(meaning, 0.9, heard)
    if not kept:
        yield Reading(kind="question", confidence=0.9, rule="asks")


def _reading(meaning: str, sure: float, heard: Heard) -> Reading:
    if meaning == "other_time":
        if heard.ask in ("consent", "begin"):
            return Reading(kind="no", confidence=sure, rule=meaning)
        return Reading(kind="later", confidence=sure, rule=meaning, ask="ask_minutes")
    if meaning == "not_yet":
        return Reading(kind="later", confidence=sure, rule=meaning, ask="ask_minutes")
    return Reading(kind=cast(Kind, meaning), confidence=sure, rule=f"words:{meaning}")


def _unsure(meaning: str, heard: Heard) -> Reading:
    kind = cast(Kind, meaning) if meaning in _UNSURE else "unclear"
    return Reading(kind=kind, confidence=0.4, rule=f"maybe:{meaning}", ask=ASK_BACK[heard.ask])


def _settled(found: Sequence[Reading], heard: Heard) -> list[Reading]:
    """One reading of each kind, and without those that another makes pointless."""
    kept: dict[tuple[str, str, str], Reading] = {}
    for reading in found:
        several = reading.kind == "light"
        key = (reading.kind, str(reading.light) if several else "", "")
        if key not in kept or _surer(reading, kept[key]):
            kept[key] = reading
    readings = list(kept.values())
    kinds = {reading.kind for reading in readings}
    if "no" in kinds and kinds & {"yes", "done"}:
        readings = [r for r in readings if r.kind not in ("no", "yes", "done")]
        readings.append(
            Reading(kind="unclear", confidence=0.3, rule="contradiction", ask=ASK_BACK[heard.ask])
        )
    own = {r.kind for r in readings if r.kind in ("light", "serial", "version", "choice")}
    timed = any(r.minutes is not None or r.value for r in readings if r.kind == "later")
    if own or timed or "no_signal" in kinds:
        readings = [r for r in readings if r.kind != "no"]
    if own:
        readings = [r for r in readings if r.kind != "later" or r.minutes is not None or r.value]
    more = {r.kind for r in readings} - _SMALL
    if more - {"unclear"}:
        readings = [r for r in readings if r.kind not in ("seen", "small_talk", "unclear")]
    if own or (more & {"done", "later", "help", "stop", "no_signal"}):
        readings = [r for r in readings if r.kind != "yes"]
    if "yes" in {r.kind for r in readings}:
        readings = [r for r in readings if r.kind not in ("seen", "small_talk")]
    return readings


def _surer(one: Reading, other: Reading) -> bool:
    if one.kind == "later" and bool(one.ask) != bool(other.ask):
        return not one.ask
    return one.confidence > other.confidence


def _asked_back(reading: Reading, heard: Heard) -> Reading:
    """A plain word that does not answer the open question carries what to ask back."""
    if heard.ask is None or reading.ask or reading.kind not in _PLAIN:
        return reading
    if reading.kind in ANSWERS.get(heard.ask, ()):
        return reading
    return Reading(
        kind=reading.kind,
        confidence=reading.confidence,
        rule=reading.rule,
        value=reading.value,
        ask=ASK_BACK[heard.ask],
    )
