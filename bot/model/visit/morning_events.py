"""What can happen on the morning after."""

from msgspec.structs import replace

from bot.model.event import Event
from bot.model.visit.morning import Answer, Morning
from bot.model.visit.state import Visit


class MorningSet(Event, frozen=True, tag="morning_set"):
    """When the site is to be asked; ``known``: by the site list's hours."""

    due: int
    known: bool = True


class MorningPutOff(Event, frozen=True, tag="morning_put_off"):
    """Not asked today; ``why`` in the words of the trade. ``told``: the contact was told why."""

    due: int
    why: str
    told: bool = False


class MorningAsked(Event, frozen=True, tag="morning_asked"):
    due: int


class MorningReminded(Event, frozen=True, tag="morning_reminded"):
    due: int


class MorningAnswered(Event, frozen=True, tag="morning_answered"):
    """``answer`` is ``unanswered`` where nobody said anything; ``call``: what was made of a no."""

    answer: Answer
    by: str = ""
    call: str = ""


class MorningOff(Event, frozen=True, tag="morning_off"):
    """There is no morning after: the visit has another evening before it."""


MorningEvent = (
    MorningSet | MorningPutOff | MorningAsked | MorningReminded | MorningAnswered | MorningOff
)


def evolve(visit: Visit, event: MorningEvent, at: int) -> Visit:
    """The visit after ``event``."""
    return replace(visit, morning=_morning(visit.morning, event, at))


def _morning(now: Morning, event: MorningEvent, at: int) -> Morning:
    match event:
        case MorningSet():
            return Morning(due=event.due, hours_known=event.known, made=now.made)
        case MorningPutOff():
            return replace(now, due=event.due, told_bad=now.told_bad or event.told)
        case MorningAsked():
            return replace(
                now, due=event.due, made=now.made + 1, asked_at=at, reminded=False, answer=""
            )
        case MorningReminded():
            return replace(now, due=event.due, reminded=True)
        case MorningAnswered():
            return replace(
                now,
                due=None,
                answer=event.answer,
                answered_at=at,
                by=event.by,
                call=event.call or now.call,
            )
        case MorningOff():
            return replace(now, due=None)
