"""What a message tells about lights, in the order it is told: sights, and what is true last.

"Was white, now green" is green; "flashing, then steady green" is steady green; "green on the old
box" is no answer at all. Sights that nothing puts in order add up: "green. It blinks."
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import cast

from bot.model.light import ANY_MODE, BLINKING, mode_of
from bot.model.phrases import Found
from bot.model.runbook import Colour, Mode
from bot.model.words import ABOUT_LIGHTS, Part

OFF: frozenset[Mode] = frozenset(("off",))
STEADY: frozenset[Mode] = frozenset(("steady",))
#: So many times on and off, one after the other, are blinking.
_ON_OFF = 3
_MODES: dict[str, frozenset[Mode]] = {
    "is:steady": STEADY,
    "is:lasting": ANY_MODE - {"off"},
    "is:blinking": BLINKING,
    "is:not_blinking": frozenset(("steady", "off")),
    "is:slow": frozenset(("slow",)),
    "is:fast": frozenset(("fast",)),
    "is:odd": BLINKING,
    "is:off": OFF,
    "is:inert": OFF,
    "is:lit": ANY_MODE - {"off"},
}
#: What a phrase says when a negation reaches it; where nothing stands here it says nothing.
_TURNED: dict[str, frozenset[Mode]] = {
    "is:steady": BLINKING | OFF,
    "is:blinking": frozenset(("steady", "off")),
    "is:slow": BLINKING,
    "is:fast": BLINKING,
    "is:off": ANY_MODE - OFF,
    "is:lit": OFF,
}


@dataclass(frozen=True, slots=True)
class Sight:
    """One look at a light; ``modes`` none: nothing was said; empty: it contradicts itself."""

    colours: tuple[Colour, ...] = ()
    modes: frozenset[Mode] | None = None
    odd: bool = False  # it blinks in a way of its own: two flashes, then a pause
    lasting: bool = False  # it stays as it is: steady, unless it is said to blink
    other: bool = False  # a colour no light has, or only what it is not
    asks: bool = False
    asked_of: bool = False  # put as a question, with or without a mark
    hedged: bool = False
    exact: bool = True
    newer: bool = False  # said to come after what was told before
    older: bool = False  # said to be no longer so
    elsewhere: bool = False  # on another light than the one asked about

    @property
    def empty(self) -> bool:
        return not (self.colours or self.other) and self.modes is None


@dataclass(slots=True)
class Story:
    """All sights of a message, and what is said about lights in general."""

    sights: list[Sight] = field(default_factory=list)
    said: set[str] = field(default_factory=set)  # the meanings found
    plain: bool = False  # a clause says a colour and hardly anything else
    nothing: bool = False  # a clause says "nothing"
    hedged: bool = False  # a clause of its own says that it is not sure
    newer: bool = False  # a change was said, but not yet what to

    def marked(self, mark: str) -> bool:
        return f"mark:{mark}" in self.said

    @property
    def of_several(self) -> bool:
        """Whether it tells of several lights; all of them dark are as one."""
        dark = all(sight.modes == OFF and not sight.colours for sight in self.sights)
        every = self.marked("every") and not (dark and self.sights)
        return self.marked("several") or every


def story_of(parts: Sequence[Part], *, asked: bool) -> Story:
    """What is told, clause by clause. ``asked``: a light was asked about, so "nothing" is dark."""
    story = Story()
    coloured = False
    for part in parts:
        hits = part.about_lights
        coloured = (coloured and part.join != "then") or part.names_a_colour
        if coloured:  # "white, nothing happens" is not dark
            hits = [hit for hit in hits if hit.meaning != "is:inert"]
        story.said.update(hit.meaning for hit in hits)
        told = [hit for hit in hits if hit.meaning.startswith(ABOUT_LIGHTS)]
        if told:
            _tell(story, part, hits, told)
            story.plain |= part.names_a_colour and not part.says_more_than(hits)
        elif asked and _nothing(part):
            story.sights.append(Sight(modes=OFF, asks=part.asks, newer=part.join == "then"))
            story.nothing = True
        elif any(hit.meaning == "mark:newer" for hit in hits):
            story.newer = True
        elif part.hedged and not part.means_more:
            story.hedged = True
        elif any(hit.meaning == "mark:elsewhere" and part.says_only(hit) for hit in hits):
            story.sights[-1:] = [replace(sight, elsewhere=True) for sight in story.sights[-1:]]
    if story.hedged:
        story.sights = [replace(sight, hedged=True) for sight in story.sights]
    return story


def _nothing(part: Part) -> bool:
    """Whether the clause says "nothing" and no more, when asked what the light shows."""
    return any(hit.meaning == "nothing" and part.says_only(hit) for hit in part.alone)


def _tell(story: Story, part: Part, hits: Sequence[Found], told: Sequence[Found]) -> None:
    """The sights of one clause; it holds several when a word for change stands between."""
    turned = dict(zip(told, part.turned(told), strict=True))
    real = not any(hit.meaning == "unreal" for hit in part.signs)
    elsewhere = any(hit.meaning == "mark:elsewhere" for hit in hits)
    start = Sight(
        asks=part.asks, asked_of=part.starts_asking, hedged=part.hedged, elsewhere=elsewhere
    )
    sight = replace(start, newer=part.join == "then" or story.newer)
    story.newer = False
    for hit in sorted(hits, key=lambda hit: hit.start):
        if hit.meaning == "mark:newer":
            if not sight.empty:
                story.sights.append(sight)
                sight = start
            sight = replace(sight, newer=True, older=False)
        elif hit.meaning == "mark:older":
            sight = replace(sight, older=True)
        elif hit in turned:
            sight = _with(sight, hit) if not turned[hit] else _without(sight, hit, real=real)
    if not sight.empty:
        story.sights.append(sight)


def _without(sight: Sight, hit: Found, *, real: bool) -> Sight:
    """What the sight is when it is not as the phrase says; not real: it is only not so yet."""
    if hit.meaning.startswith("colour:"):
        return replace(sight, other=True)
    modes = _TURNED.get(hit.meaning) if real else None
    if modes is None:
        return sight
    return replace(sight, modes=modes if sight.modes is None else sight.modes & modes)


def _with(sight: Sight, hit: Found) -> Sight:
    kind, _, value = hit.meaning.partition(":")
    sight = replace(sight, exact=sight.exact and hit.exact)
    if kind == "colour":
        if value == "other":
            return replace(sight, other=True)
        colours = dict.fromkeys((*sight.colours, cast(Colour, value)))
        return replace(sight, colours=tuple(colours))
    modes = _rate(hit) if kind == "rate" else _MODES[hit.meaning]
    modes = BLINKING if modes is None else modes
    return replace(
        sight,
        odd=sight.odd or hit.meaning == "is:odd",
        lasting=sight.lasting or hit.meaning == "is:lasting",
        modes=modes if sight.modes is None else sight.modes & modes,
    )


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


def latest(sights: Sequence[Sight]) -> Sight:
    """What is true last: a newer sight takes the place of the one before, others add up."""
    now = Sight()
    for sight in sights:
        if not sight.newer or now.empty:
            now = _both(now, sight)
        elif sight.colours or sight.other or sight.modes == OFF:
            now = sight
        else:  # only its behaviour changed, or is told in full
            both = (now.modes or frozenset()) & (sight.modes or frozenset())
            now = replace(
                now,
                modes=both or sight.modes,
                odd=sight.odd or (bool(both) and now.odd),
                lasting=sight.lasting or (bool(both) and now.lasting),
                asks=now.asks or sight.asks,
                hedged=now.hedged or sight.hedged,
            )
    return now


def true_now(sights: Sequence[Sight]) -> Sight:
    """What is true last; of what is no longer so only a colour that was not said again."""
    seen = _last(sights)
    steady = seen.lasting and seen.modes is not None and "steady" in seen.modes
    return replace(seen, modes=STEADY) if steady else seen


def _last(sights: Sequence[Sight]) -> Sight:
    current = [sight for sight in sights if not sight.older]
    seen = latest(current or sights)
    if current and not seen.colours and not seen.other and seen.modes not in (None, OFF):
        before = latest([sight for sight in sights if sight.older])
        return replace(seen, colours=before.colours, hedged=seen.hedged or before.hedged)
    return seen


def _both(one: Sight, two: Sight) -> Sight:
    modes = two.modes if one.modes is None else one.modes
    if one.modes is not None and two.modes is not None:
        modes = one.modes & two.modes
        if two.modes == OFF and one.modes == ANY_MODE - OFF and not one.colours:
            modes = OFF  # "switched on but not lit"
    return Sight(
        colours=tuple(dict.fromkeys((*one.colours, *two.colours))),
        modes=modes,
        odd=one.odd or two.odd,
        lasting=one.lasting or two.lasting,
        other=one.other or two.other,
        asks=one.asks or two.asks,
        hedged=one.hedged or two.hedged,
        exact=one.exact and two.exact,
    )


def flashing(sights: Sequence[Sight]) -> list[Sight]:
    """The sights, with "on, off, on, off" as one that blinks."""
    if len(sights) < _ON_OFF:
        return list(sights)
    states = [s.modes == OFF for s in sights if s.modes in (OFF, ANY_MODE - OFF) and not s.colours]
    if len(states) < _ON_OFF or any(one == two for one, two in pairwise(states)):
        return list(sights)
    rest = [s for s in sights if s.modes not in (OFF, ANY_MODE - OFF) or s.colours]
    return [Sight(modes=BLINKING), *rest]


def goes_round(sights: Sequence[Sight]) -> bool:
    """Whether it comes back to what it was: white, then green, then white again."""
    shown = [sight.colours or sight.modes for sight in sights if sight.newer or sight is sights[0]]
    changed = [now for before, now in zip([None, *shown], shown, strict=False) if now != before]
    return len(set(changed)) < len(changed)
