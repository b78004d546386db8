"""What can happen to a call, and the call it makes of it."""

from typing import Any, Literal

from msgspec.structs import replace

from bot.model.calls.state import Call, find
from bot.model.event import Event

#: What ended the condition a call was raised for.
ClearedBy = Literal[
    "registration",
    "answer",
    "delivered",
    "resumed",
    "plan",
    "account",
    "handed_back",
    "backed_out",
    "settled",
    "works",
    "replaced",
]


class Raised(Event, frozen=True, tag="raised"):
    call: Call


class Called(Event, frozen=True, tag="called"):
    """The call went out to the person on this rung; ``due`` is when it must be taken."""

    call: str
    to: str
    rung: int
    rounds: int
    due: int
    way: int = 0


class WayTried(Event, frozen=True, tag="way_tried"):
    """It went out by one way of the person called; ``hook``: the webhook told, if it was one."""

    call: str
    way: int
    message: str
    due: int
    hook: str = ""


class Taken(Event, frozen=True, tag="taken"):
    call: str
    by: str
    due: int


class Offered(Event, frozen=True, tag="offered"):
    """Handed on: the giver keeps it until the other accepts."""

    call: str
    to: str
    due: int


class OfferLapsed(Event, frozen=True, tag="offer_lapsed"):
    call: str
    due: int


class PutOff(Event, frozen=True, tag="put_off"):
    call: str
    due: int
    third_party: bool = False
    ticket: str = ""


class Reminded(Event, frozen=True, tag="reminded"):
    """Over and still not closed: said so, and a new deadline set."""

    call: str
    due: int


class Delayed(Event, frozen=True, tag="delayed"):
    """Called out later than planned: we were away, a way failed, or somebody has decided since."""

    call: str
    due: int


class Cleared(Event, frozen=True, tag="cleared"):
    call: str
    by: ClearedBy
    due: int


class Closed(Event, frozen=True, tag="closed"):
    call: str
    by: str
    reason: str


CallEvent = (
    Raised
    | Called
    | WayTried
    | Taken
    | Offered
    | OfferLapsed
    | PutOff
    | Reminded
    | Delayed
    | Cleared
    | Closed
)


def evolve(calls: tuple[Call, ...], event: CallEvent, at: int) -> tuple[Call, ...]:
    """The calls after ``event``. Raises ``LookupError`` for a call that does not exist."""
    if isinstance(event, Raised):
        return (*calls, event.call)
    call = find(calls, event.call)
    if call is None:
        raise LookupError(f"no call {event.call}")
    changed: Call = replace(call, **_changes(call, event, at))
    return tuple(changed if c.id == call.id else c for c in calls)


def _changes(call: Call, event: CallEvent, at: int) -> dict[str, Any]:
    match event:
        case Called():
            return {
                "operator": "none",
                "called_at": at if call.called_at is None else call.called_at,
                "rung": event.rung,
                "rounds": event.rounds,
                "offered_to": "",
                "due": event.due,
                "third_party": False,
                "to": event.to,
                "way": event.way,
                "sent": "",
            }
        case WayTried():
            told = (event.hook,) if event.hook and event.hook not in call.hooks else ()
            return {
                "way": event.way,
                "sent": event.message,
                "due": event.due,
                "hooks": call.hooks + told,
            }
        case Taken():
            return {
                "operator": "ack",
                "hooks": (),
                "taken_by": event.by,
                "offered_to": "",
                "due": event.due,
                "third_party": False,
            }
        case Offered():
            return {"offered_to": event.to, "due": event.due}
        case OfferLapsed():
            return {"offered_to": "", "due": event.due}
        case PutOff():
            return {
                "operator": "shelved",
                "offered_to": "",
                "due": event.due,
                "third_party": event.third_party,
                "ticket": event.ticket or call.ticket,
            }
        case Reminded() | Delayed():
            return {"due": event.due}
        case Cleared():
            return {"cleared_at": at, "due": event.due, "hooks": ()}
        case Closed():
            return {"operator": "closed", "reason": event.reason, "offered_to": "", "hooks": ()}
    raise LookupError(f"no rule for {type(event).__name__}")
