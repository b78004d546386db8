"""What can happen to spares and returns, and the visit it makes of it."""

from typing import Literal

from msgspec.structs import replace

from bot.model.event import Event
from bot.model.visit.spares_state import Return, Spares, Swap
from bot.model.visit.state import Visit


class Withdrawn(Event, frozen=True, tag="unit_withdrawn"):
    """A unit is not to be installed here, nor anywhere, until it has been back."""

    old: str
    reason: str
    source: str
    by: str
    new: str = ""
    model: str = ""
    start: int | None = None


class SpareKnown(Event, frozen=True, tag="spare_known"):
    """The serial of the spare, or its date, that was missing."""

    old: str
    new: str
    by: str
    start: int | None = None
    model: str = ""


class SwapReminded(Event, frozen=True, tag="swap_reminded"):
    """The team was told what is still missing."""

    old: str


class Lent(Event, frozen=True, tag="unit_lent"):
    """This unit goes to another site as its spare."""

    serial: str
    to: str
    by: str


class ReturnOpened(Event, frozen=True, tag="return_opened"):
    """A unit that will go back; ``due`` is when the site is reminded, once it was asked."""

    serial: str
    what: Literal["old", "withdrawn"]
    due: int | None = None


class ReturnAsked(Event, frozen=True, tag="return_asked"):
    """The site was asked to send it, or was reminded."""

    serial: str
    due: int | None
    again: bool = False


class ReturnSent(Event, frozen=True, tag="return_sent"):
    serial: str
    tracking: str
    by: str


class ReturnBack(Event, frozen=True, tag="return_back"):
    serial: str
    by: str


class ReturnWiped(Event, frozen=True, tag="return_wiped"):
    """Its data are wiped, a person says."""

    serial: str
    by: str


SparesEvent = (
    Withdrawn
    | SpareKnown
    | SwapReminded
    | Lent
    | ReturnOpened
    | ReturnAsked
    | ReturnSent
    | ReturnBack
    | ReturnWiped
)


def apply(visit: Visit, event: SparesEvent, at: int) -> Visit:
    return replace(visit, spares=_spares(visit.spares, event, at))


def _spares(spares: Spares, event: SparesEvent, at: int) -> Spares:
    match event:
        case Withdrawn():
            swap = Swap(
                event.old,
                event.reason,
                event.source,
                event.by,
                at,
                event.new,
                event.model,
                event.start,
            )
            return replace(spares, swaps=(*spares.swaps, swap))
        case SpareKnown():
            return replace(spares, swaps=tuple(_known(s, event) for s in spares.swaps))
        case SwapReminded():
            return replace(
                spares,
                swaps=tuple(
                    replace(s, reminded_at=at) if s.old == event.old else s for s in spares.swaps
                ),
            )
        case Lent():
            return replace(spares, lent=(*spares.lent, event.serial))
        case ReturnOpened():
            opened = Return(event.serial, event.what, at, due=event.due)
            return replace(spares, returns=(*spares.returns, opened))
    changed = tuple(_return(r, event, at) for r in spares.returns)
    return replace(spares, returns=changed)


def _known(swap: Swap, event: SpareKnown) -> Swap:
    if swap.old != event.old:
        return swap
    return replace(
        swap,
        new=event.new or swap.new,
        model=event.model or swap.model,
        start=swap.start if event.start is None else event.start,
    )


def _return(found: Return, event: SparesEvent, at: int) -> Return:
    if getattr(event, "serial", None) != found.serial:
        return found
    match event:
        case ReturnAsked():
            reminded = found.reminded + event.again
            return replace(found, stage="to_send", due=event.due, reminded=reminded)
        case ReturnSent():
            return replace(found, stage="sent", tracking=event.tracking, due=None)
        case ReturnBack():
            return replace(found, stage="back", due=None)
        case ReturnWiped():
            return replace(found, wiped_by=event.by, wiped_at=at)
    raise LookupError(f"no rule for {type(event).__name__}")
