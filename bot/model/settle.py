"""Of everything that was understood, what remains: one reading of each kind, the worst first."""

from collections.abc import Sequence
from typing import get_args

from bot.model.reading import ASK_BACK, Heard, Kind, Reading
from bot.model.runbook import AskKind

#: Worst first.
ORDER: tuple[Kind, ...] = get_args(Kind)
#: Which plain words answer which question.
ANSWERS: dict[AskKind, frozenset[Kind]] = {
    "consent": frozenset(("yes", "no")),
    "begin": frozenset(("yes", "done", "no")),
    "mobile": frozenset(("yes", "done", "no", "no_signal")),
    "confirm": frozenset(("done", "no")),
    "serial": frozenset(("yes", "no", "serial")),
    "version": frozenset(("no", "version")),
    "choice": frozenset(("no", "choice")),
    "light": frozenset(("light",)),
    "callback": frozenset(("done", "no")),
    "check": frozenset(("yes", "done", "no", "no_signal", "choice")),
}
_PLAIN: frozenset[Kind] = frozenset(("yes", "no", "done", "seen"))
#: What gives way when the same words hold an answer, or something to act on.
_SMALL: frozenset[Kind] = frozenset(("seen", "thanks", "small_talk", "yes"))
_OWN: frozenset[Kind] = frozenset(("light", "serial", "version", "choice"))
#: Answers beside which "it's in" is only how they are put.
_TYPED: frozenset[Kind] = frozenset(("serial", "version", "choice"))
#: Beside these a yes is only a manner of speaking.
_OVER_YES: frozenset[Kind] = _OWN | {"done", "later", "help", "stop", "no_signal"}


def settled(found: Sequence[Reading], heard: Heard) -> list[Reading]:
    """One reading of each kind, and without those that another makes pointless."""
    readings = _contradicted(_one_of_each(found), heard)
    kinds = {reading.kind for reading in readings}
    timed = any(reading.kind == "later" and _timed(reading) for reading in readings)
    if kinds & _OWN or timed or kinds & {"no_signal", "number"}:
        readings = _without(readings, "no")
    if kinds & _OWN:
        readings = [r for r in readings if r.kind != "later" or _timed(r)]
    if heard.ask in kinds & _TYPED or (heard.ask == "check" and "choice" in kinds):
        readings = _without(readings, "done")
    if heard.ask in ("consent", "begin", "serial") and "yes" in kinds:
        readings = _without(readings, "done")
    more = {reading.kind for reading in readings} - _SMALL
    if more & _OVER_YES:
        readings = _without(readings, "yes")
    if more - {"unclear"} or "yes" in {reading.kind for reading in readings}:
        readings = _without(readings, "seen", "small_talk", "unclear")
    readings = [_asked_back(reading, heard) for reading in readings]
    if "question" in kinds:  # a yes that answers nothing is asked about less than what they ask
        readings = [r for r in readings if r.kind != "yes" or not r.ask]
    return sorted(readings, key=lambda reading: ORDER.index(reading.kind))


def _one_of_each(found: Sequence[Reading]) -> list[Reading]:
    """The surest reading of each kind; of lights each one."""
    kept: dict[tuple[str, object], Reading] = {}
    for reading in found:
        key = (reading.kind, reading.light)
        if key not in kept or _surer(reading, kept[key]):
            kept[key] = reading
    return list(kept.values())


def _surer(one: Reading, other: Reading) -> bool:
    if one.kind == "later" and bool(one.ask) != bool(other.ask):
        return not one.ask
    return one.confidence > other.confidence


def _contradicted(readings: list[Reading], heard: Heard) -> list[Reading]:
    """Yes and no in one breath: neither counts, unless one takes the other back."""
    kinds = {reading.kind for reading in readings}
    if "no" not in kinds or not kinds & {"yes", "done"}:
        return readings
    if "correction" in kinds:
        return _without(readings, "no")
    return [
        *_without(readings, "no", "yes", "done"),
        Reading(kind="unclear", confidence=0.3, rule="contradiction", ask=ASK_BACK[heard.ask]),
    ]


def _timed(reading: Reading) -> bool:
    return reading.minutes is not None or bool(reading.value)


def _without(readings: Sequence[Reading], *kinds: Kind) -> list[Reading]:
    return [reading for reading in readings if reading.kind not in kinds]


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
