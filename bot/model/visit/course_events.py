"""What happens on the way from the old unit to the new one, besides the questions themselves."""

from msgspec.structs import replace

from bot.model.event import Event
from bot.model.visit.course import Found
from bot.model.visit.state import Visit


class Checked(Event, frozen=True, tag="checked"):
    """The site's people tried ``item`` of the site list."""

    item: str
    found: Found


class Vouched(Event, frozen=True, tag="vouched"):
    """A person of the team says that these are right, by closing the call about them."""

    items: tuple[str, ...]
    by: str


class WatchBegun(Event, frozen=True, tag="watch_begun"):
    """Nobody is asked any more; units and soak are watched. ``why`` in the words of the trade."""

    why: str
    signed: bool = True


CourseEvent = Checked | Vouched | WatchBegun


def apply(visit: Visit, event: CourseEvent, at: int) -> Visit:
    """The visit after ``event``; ``at`` in milliseconds of wave time."""
    course = visit.course
    match event:
        case Checked():
            found = dict(course.found) | {event.item: event.found}
            return replace(visit, course=replace(course, found=tuple(found.items())))
        case Vouched():
            vouched = tuple(dict.fromkeys((*course.vouched, *event.items)))
            return replace(visit, course=replace(course, vouched=vouched))
        case WatchBegun():
            return replace(
                visit,
                state="watched",
                question=None,
                unsigned=not event.signed,
                paused_until=None,
                waits_hold=False,
                waits_since=None,
                given=None,
                course=replace(course, watched_at=at),
            )
