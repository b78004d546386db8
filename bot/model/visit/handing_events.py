"""What can happen when a contact has to go. People are named by chat user and by key."""

from msgspec.structs import replace

from bot.model.event import Event
from bot.model.people import person_key
from bot.model.visit.handing import CodeOffer, Handing
from bot.model.visit.state import Person, Visit


class LeavingSaid(Event, frozen=True, tag="leaving_said"):
    """They have to go; ``timed``: they said when, and that is ``due``."""

    due: int
    timed: bool = False


class LeavingOver(Event, frozen=True, tag="leaving_over"):
    """They stay after all, or on-call has it: nothing more is due. A code no longer holds
    where ``code`` is false."""

    why: str
    code: bool = False


class CodeMade(Event, frozen=True, tag="code_made"):
    offer: CodeOffer
    due: int


class CodeShown(Event, frozen=True, tag="code_shown"):
    """Somebody showed the right code; only their own yes makes them the contact."""

    offer: str
    user: str


class CodeWrong(Event, frozen=True, tag="code_wrong"):
    user: str


class CodeDeclined(Event, frozen=True, tag="code_declined"):
    """Who showed the code does not take over."""

    offer: str
    user: str


class HandedOn(Event, frozen=True, tag="handed_on"):
    """Who showed the code said yes: they are the contact for this visit."""

    offer: str
    user: str
    lang: str


HandingEvent = (
    LeavingSaid | LeavingOver | CodeMade | CodeShown | CodeWrong | CodeDeclined | HandedOn
)


def evolve(visit: Visit, event: HandingEvent, at: int) -> Visit:
    """The visit after ``event``."""
    if isinstance(event, HandedOn):
        return _handed_on(visit, event)
    return replace(visit, handing=_handing(visit.handing, event, at))


def _handing(now: Handing, event: HandingEvent, at: int) -> Handing:
    offer = now.offer
    match event:
        case LeavingSaid():
            return replace(now, said_at=at, due=event.due, timed=event.timed)
        case LeavingOver():
            return replace(now, due=None, timed=False, offer=offer if event.code else None)
        case CodeMade():
            return replace(now, offer=event.offer, made=now.made + 1, due=event.due)
        case CodeShown() if offer is not None:
            return replace(now, offer=replace(offer, shown=(*offer.shown, event.user)))
        case CodeWrong() if offer is not None:
            return replace(now, offer=replace(offer, wrong=offer.wrong + 1))
        case CodeDeclined() if offer is not None:
            left = tuple(user for user in offer.shown if user != event.user)
            return replace(now, offer=replace(offer, shown=left))
    return now


def _handed_on(visit: Visit, event: HandedOn) -> Visit:
    """Who was the contact stays reachable as deputy, unless there is another one."""
    before, deputy = visit.contact, visit.deputy
    if deputy is None or deputy.user == event.user:
        deputy = before
    user = event.user
    return replace(
        visit,
        contact=Person(person_key(user), user, event.lang),
        deputy=deputy,
        handing=Handing(made=visit.handing.made, first=visit.handing.first or before.user),
        speaker=user,
        joined=visit.joined if user in visit.joined else (*visit.joined, user),
    )
