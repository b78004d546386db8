"""Lights in words: colours, behaviour and flash rates, as the runbook's patterns.

A fault is never guessed away: what could be one is either taken as it, or asked back.
"""

from collections.abc import Sequence
from dataclasses import replace

from bot.model.light import ANY_MODE, BLINKING, fitting
from bot.model.light_story import (
    OFF,
    Sight,
    Story,
    flashing,
    goes_round,
    latest,
    story_of,
    true_now,
)
from bot.model.reading import Heard, Light, Reading
from bot.model.runbook import Colour, Runbook
from bot.model.words import Part

#: What to do about a pattern, worst first.
_GRAVITY = ("call", "check_cable", "check_power", "", "wait", "next", "success")
_GOOD = frozenset(("next", "success"))
_GRAVE = frozenset(("call", "check_cable", "check_power"))
#: What is asked back when the words cannot be about the one light that was asked for.
_ASK: dict[str, str] = {
    "elsewhere": "ask_which_light",
    "several": "ask_which_light",
    "alternates": "ask_negated",
    "unasked": "ask_negated",
}
_STEADY_OR_OFF = frozenset(("steady", "off"))
_SAME = Reading(kind="light", confidence=0.9, rule="same_light", value="same")


def light_readings(parts: Sequence[Part], heard: Heard, book: Runbook) -> list[Reading]:
    """The light or lights described, the gravest first; empty when none is."""
    asked = heard.ask == "light"
    powered = _powered(heard, book)
    story = story_of(parts, asked=asked or powered)
    if not asked and not _about_a_light(story, powered=powered):
        red = [sight for sight in story.sights if _may_call(sight, heard, book)]
        return [_asked(latest(red), "unasked", heard, book)] if red else []
    several = story.of_several  # then the other one is one of them
    here = [sight for sight in story.sights if several or not sight.elsewhere]
    there = [sight for sight in story.sights if sight.elsewhere and not several]
    if there and (not here or any(s.colours and _grave(s, heard, book) for s in there)):
        return [_asked(latest([*here, *there]), "elsewhere", heard, book)]
    told = [sight for sight in flashing(here) if not _only_wondered(sight, heard, book)]
    if not told and not here and asked:
        if story.of_several:
            return [_asked(Sight(), "several", heard, book)]
        if story.marked("same"):
            return [_SAME]
    if not told:
        return []
    same = [_SAME] if asked and story.marked("same") else []
    return [*_graded(_of(told, story, heard, book), heard, book), *same]


def _of(told: Sequence[Sight], story: Story, heard: Heard, book: Runbook) -> list[Reading]:
    if story.marked("alternates") or goes_round(told):
        return [_asked(latest(told), "alternates", heard, book)]
    seen = true_now(told)
    older = all(sight.older for sight in told)
    if story.of_several:
        every = latest([replace(sight, newer=False) for sight in told])
        return [_asked(every, "several", heard, book)]
    if len(seen.colours) > 1:
        return [_one_of(seen, colour, book) for colour in seen.colours]
    return [_one(seen, heard, book, older=older)]


def _graded(readings: list[Reading], heard: Heard, book: Runbook) -> list[Reading]:
    return sorted(readings, key=lambda r: _GRAVITY.index(_do(r.pattern, heard, book)))


def _powered(heard: Heard, book: Runbook) -> bool:
    return any(stage.id == heard.stage and stage.powered for stage in book.stages)


def _about_a_light(story: Story, *, powered: bool) -> bool:
    """Whether the words speak of a light though none was asked about."""
    said = {meaning for meaning in story.said if not meaning.startswith("mark:")}
    coloured = any(meaning.startswith("colour:") for meaning in said)
    blinks = said & {"is:blinking", "is:not_blinking"}
    behaves = blinks | (said & {"is:steady", "is:odd", "rate:count", "rate:per"})
    if blinks or (("light" in said or behaves) and (coloured or said - {"light", "is:lit"})):
        return True
    dark = story.nothing or said & {"is:off", "is:inert"}
    return story.plain or (powered and (coloured or bool(dark)))


def _only_wondered(sight: Sight, heard: Heard, book: Runbook) -> bool:
    """Whether it is only asked about, as in "should it be green?"; a fault is never dropped."""
    return sight.asked_of and not _grave(sight, heard, book)


def _may_call(sight: Sight, heard: Heard, book: Runbook) -> bool:
    """Whether a colour is said that means a fault, by somebody who is doing something else."""
    if heard.ask in ("serial", "version", "choice") or sight.asks or sight.elsewhere:
        return False
    return any(_always_called(colour, book) for colour in sight.colours)


def _grave(sight: Sight, heard: Heard, book: Runbook) -> bool:
    """Whether what is seen may be a fault."""
    if sight.modes == OFF:
        return True
    names = [name for colour in sight.colours for name in fitting(colour, ANY_MODE, book)]
    return any(_do(name, heard, book) in _GRAVE for name in names)


def _described(seen: Sight, colour: Colour | None) -> Light:
    """The light in the form that is shown."""
    modes = seen.modes or frozenset()
    if modes == _STEADY_OR_OFF:  # it blinks no more
        modes -= OFF
    colours = (*seen.colours, *(("other",) if seen.other and not seen.colours else ()))
    return Light(
        colour=colour,
        mode=next(iter(modes)) if len(modes) == 1 else None,
        blinking=bool(modes) and modes <= BLINKING,
        colours=colours,
    )


def _asked(seen: Sight, rule: str, heard: Heard, book: Runbook) -> Reading:
    """A light that cannot be acted on, whatever it shows; of several the gravest is named."""
    colours: tuple[Colour | None, ...] = seen.colours or (None,)
    reading = _graded([_one_of(seen, colour, book) for colour in colours], heard, book)[0]
    value = rule if rule in ("elsewhere", "several") else ""
    return Reading(
        kind="light",
        confidence=0.5,
        rule=f"light_{rule}",
        light=reading.light,
        pattern=reading.pattern,
        value=value,
        ask=_ASK[rule],
    )


def _one_of(seen: Sight, colour: Colour | None, book: Runbook) -> Reading:
    """One of several colours, with the pattern it would be."""
    names = fitting(colour, ANY_MODE if seen.modes is None else seen.modes, book)
    return Reading(
        kind="light",
        confidence=0.5,
        rule="several_lights",
        light=_described(seen, colour),
        pattern=names[0] if len(names) == 1 and colour else "",
        ask="ask_negated",
    )


def _one(seen: Sight, heard: Heard, book: Runbook, *, older: bool) -> Reading:
    colour = seen.colours[0] if seen.colours else None
    pattern, rule, ask = _pattern(colour, seen, book)
    unsure = seen.asks or ((seen.hedged or older) and _good(pattern, heard, book))
    if pattern and not ask and unsure:
        ask = "ask_negated"
    sure = 0.5 if ask else 0.6 if seen.hedged else 1.0 if seen.exact else 0.9
    light = _described(seen, colour)
    return Reading(kind="light", confidence=sure, rule=rule, light=light, pattern=pattern, ask=ask)


def _pattern(colour: Colour | None, seen: Sight, book: Runbook) -> tuple[str, str, str]:
    """Pattern, rule and what to ask back."""
    modes = seen.modes
    if colour is None and modes == OFF and not seen.other:
        names = fitting(None, modes, book)
        return (names[0], "light_off", "") if len(names) == 1 else ("", "light_off", "ask_negated")
    if colour is None:
        return "", "no_colour", "ask_colour"
    if seen.odd and not _always_called(colour, book):
        return "", "odd_rate", "ask_fast_or_slow"
    modes = ANY_MODE if modes is None else modes
    names = fitting(colour, modes - {"off"}, book)
    if len(names) == 1:
        return names[0], "light", ""
    if not names:
        fault = "" if seen.modes == OFF else _always_called(colour, book)
        return (fault, "fault_colour", "") if fault else ("", "no_such_light", "ask_negated")
    fits = {book.patterns[name].mode for name in names}
    if "steady" in fits:
        return "", "colour_only", "ask_steady_or_blinking"
    return "", "no_rate", "ask_fast_or_slow"


def _always_called(colour: Colour, book: Runbook) -> str:
    """The pattern of a colour that means a fault however it is lit; empty if it has others."""
    names = fitting(colour, ANY_MODE, book)
    does = {
        stage.lights[name].do for name in names for stage in book.stages if name in stage.lights
    }
    return names[0] if len(names) == 1 and does == {"call"} else ""


def _do(pattern: str, heard: Heard, book: Runbook) -> str:
    """What the stage does about a pattern; the gravest of any stage if it says nothing."""
    here = [stage for stage in book.stages if stage.id == heard.stage and stage.lights]
    does = {stage.lights[pattern].do for stage in here or book.stages if pattern in stage.lights}
    return next((do for do in _GRAVITY if do in does), "")


def _good(pattern: str, heard: Heard, book: Runbook) -> bool:
    return _do(pattern, heard, book) in _GOOD
