"""Lights in words: colours, behaviour and flash rates, as the runbook's patterns.

A fault is never guessed away: what could be one is either taken as it, or asked back.
"""

from collections.abc import Sequence
from typing import NamedTuple, cast

from bot.model.light import ANY_MODE, BLINKING, fitting, mode_of
from bot.model.phrases import Found
from bot.model.reading import Heard, Light, Reading
from bot.model.runbook import Colour, Mode, Runbook
from bot.model.words import Part, not_inside, overlap

OFF: frozenset[Mode] = frozenset(("off",))
_MODES: dict[str, frozenset[Mode]] = {
    "is:steady": frozenset(("steady",)),
    "is:blinking": BLINKING,
    "is:not_blinking": frozenset(("steady", "off")),
    "is:slow": frozenset(("slow",)),
    "is:fast": frozenset(("fast",)),
    "is:off": OFF,
    "is:lit": ANY_MODE - {"off"},
}
#: What to do about a pattern, worst first.
_GRAVITY = ("call", "check_cable", "check_power", "", "wait", "next", "success")
_GOOD = frozenset(("next", "success"))


class _Seen(NamedTuple):
    """What all the clauses say about the light."""

    colours: tuple[Colour, ...]
    modes: frozenset[Mode] | None  # none: nothing was said; empty: it contradicts itself
    odd_rate: bool  # a rate between or outside the bands
    other: bool  # a colour no light has, or only what it is not
    asks: bool
    hedged: bool
    exact: bool


def light_readings(parts: Sequence[Part], heard: Heard, book: Runbook) -> list[Reading]:
    """The light or lights described, the gravest first; empty when none is."""
    found = [(part, _hits(part)) for part in parts]
    if heard.ask != "light" and not any(_about_a_light(hits) for _, hits in found):
        return []
    seen = _seen(found)
    if len(seen.colours) > 1:
        readings = [_several(colour, seen, book) for colour in seen.colours]
        return sorted(readings, key=lambda r: _GRAVITY.index(_do(r.pattern, heard, book)))
    if not (seen.colours or seen.modes is not None or seen.other):
        if not any(_nothing(part) for part in parts):
            return []
        seen = seen._replace(modes=OFF)
    return [_one(seen, heard, book)]


def _nothing(part: Part) -> bool:
    """Whether the clause says "nothing" and no more, when asked what the light shows."""
    return any(hit.meaning == "nothing" and part.says_only(hit) for hit in part.alone)


def _hits(part: Part) -> list[Found]:
    """What the clause says about lights; coloured things and lost power left out."""
    hits = part.lights
    power = [hit for hit in part.signs if hit.meaning == "power_cycled"]
    things = {hit.start for hit in hits if hit.meaning == "thing"}
    hits = [hit for hit in hits if hit.meaning != "thing" and not _on_thing(hit, things)]
    lamp = [hit for hit in hits if hit.meaning == "light"]
    rest = not_inside([hit for hit in hits if hit.meaning != "light"])
    rest = [hit for hit in rest if not any(overlap(hit, other) for other in power)]
    return lamp + rest


def _on_thing(hit: Found, things: set[int]) -> bool:
    return hit.meaning.startswith("colour:") and hit.end in things


def _about_a_light(hits: Sequence[Found]) -> bool:
    """Whether the words speak of a light though none was asked about."""
    said = {hit.meaning for hit in hits}
    coloured = any(meaning.startswith("colour:") for meaning in said)
    behaves = said & {"is:blinking", "is:not_blinking", "is:steady", "rate:count", "rate:per"}
    return bool(said & {"is:blinking", "is:not_blinking"}) or (
        bool("light" in said or behaves) and bool(coloured or said - {"light", "is:lit"})
    )


def _seen(found: Sequence[tuple[Part, list[Found]]]) -> _Seen:
    colours: dict[Colour, None] = {}
    modes: frozenset[Mode] | None = None
    odd = other = asks = hedged = False
    exact = True
    for part, hits in found:
        told = [hit for hit in hits if hit.meaning != "light"]
        if not told:
            continue
        hedged |= part.hedged
        asks |= part.asks
        turned = part.reach_over(told)
        for hit in told:
            exact &= hit.exact
            kind, _, value = hit.meaning.partition(":")
            if turned[hit.start]:
                other |= kind == "colour"
            elif kind == "colour" and value != "other":
                colours[cast(Colour, value)] = None
            elif kind == "colour":
                other = True
            else:
                said = _rate(hit) if kind == "rate" else _MODES[hit.meaning]
                odd |= said is None
                said = BLINKING if said is None else said
                modes = said if modes is None else modes & said
    return _Seen(tuple(colours), modes, odd, other, asks, hedged, exact)


def _rate(hit: Found) -> frozenset[Mode] | None:
    """The modes of a rate in numbers; none when no band holds it."""
    first = hit.numbers[0] if hit.numbers else 1.0
    last = hit.numbers[-1] if hit.numbers else 1.0
    if hit.meaning == "rate:count":
        hz = first / last if last else 0.0
    elif hit.meaning == "rate:per":
        hz = first
    else:
        hz = 1 / last if last else 0.0
    mode = mode_of(round(hz, 3))
    return None if mode is None else frozenset((mode,))


def _several(colour: Colour, seen: _Seen, book: Runbook) -> Reading:
    names = fitting(colour, ANY_MODE if seen.modes is None else seen.modes, book)
    return Reading(
        kind="light",
        confidence=0.5,
        rule="several_lights",
        light=Light(colour=colour),
        pattern=names[0] if len(names) == 1 else "",
        ask="ask_negated",
    )


def _one(seen: _Seen, heard: Heard, book: Runbook) -> Reading:
    colour = seen.colours[0] if seen.colours else None
    modes = seen.modes
    mode = next(iter(modes)) if modes is not None and len(modes) == 1 else None
    light = Light(colour=colour, mode=mode)
    pattern, rule, ask = _pattern(colour, seen, book)
    if pattern and not ask and (seen.asks or (seen.hedged and _good(pattern, heard, book))):
        ask = "ask_negated"
    sure = 0.5 if ask else 0.6 if seen.hedged else 1.0 if seen.exact else 0.9
    return Reading(kind="light", confidence=sure, rule=rule, light=light, pattern=pattern, ask=ask)


def _pattern(colour: Colour | None, seen: _Seen, book: Runbook) -> tuple[str, str, str]:
    """Pattern, rule and what to ask back."""
    modes = seen.modes
    if colour is None and modes == OFF and not seen.other:
        names = fitting(None, modes, book)
        return (names[0], "light_off", "") if len(names) == 1 else ("", "light_off", "ask_negated")
    if colour is None:
        return "", "no_colour", "ask_colour"
    if seen.odd_rate:
        return "", "rate_between", "ask_fast_or_slow"
    modes = ANY_MODE if modes is None else modes
    names = fitting(colour, modes - {"off"}, book)
    if len(names) == 1:
        return names[0], "light", ""
    if not names:
        return "", "no_such_light", "ask_negated"
    fits = {book.patterns[name].mode for name in names}
    if "steady" in fits:
        return "", "colour_only", "ask_steady_or_blinking"
    return "", "no_rate", "ask_fast_or_slow"


def _do(pattern: str, heard: Heard, book: Runbook) -> str:
    """What the stage does about a pattern; the gravest of any stage if it says nothing."""
    here = [stage for stage in book.stages if stage.id == heard.stage and stage.lights]
    does = {stage.lights[pattern].do for stage in here or book.stages if pattern in stage.lights}
    return next((do for do in _GRAVITY if do in does), "")


def _good(pattern: str, heard: Heard, book: Runbook) -> bool:
    return _do(pattern, heard, book) in _GOOD
