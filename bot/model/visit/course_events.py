"""What happens on the way from the old unit to the new one, besides the questions themselves."""
# ruff: noqa: ARG001 - rules share one form, whether they need all of it

from msgspec.structs import replace

from bot.model.event import Event
from bot.model.visit.state import Visit


class WatchBegun(Event, frozen=True, tag="watch_begun"):
    """Nobody is asked any more; units and soak are watched. ``why`` in the words of the trade."""

    why: str
    signed: bool = True


CourseEvent = WatchBegun


def apply(visit: Visit, event: CourseEvent, at: int) -> Visit:
    """The visit after ``event``; ``at`` in milliseconds of wave time."""
    return replace(
        visit,
        state="watched",
        question=None,
        unsigned=not event.signed,
        paused_until=None,
        waits_hold=False,
        waits_since=None,
        given=None,
    )
