"""What happens to a visit before its evening: what is settled, asked and decided of it."""

from msgspec.structs import replace

from bot.model.event import Event
from bot.model.runbook_ready import Item
from bot.model.visit.ready import Known
from bot.model.visit.state import Visit


class DateSet(Event, frozen=True, tag="date_set"):
    """A person gave the visit another date; for the record. Instants in ms UTC."""

    by: str
    before: int
    start: int


class ReadyOpened(Event, frozen=True, tag="ready_opened"):
    """The contact agreed: from here the site is asked what must be settled."""


class ItemSet(Event, frozen=True, tag="ready_item_set"):
    """Somebody said how it is with an item; ``note`` is what is wrong."""

    item: Item
    good: bool
    by: str
    note: str = ""


class LabelRead(Event, frozen=True, tag="ready_label_read"):
    """The serial of a unit was read from its carton, and is the right one."""

    serial: str
    by: str


class AskOver(Event, frozen=True, tag="ready_ask_over"):
    """The contact was asked and has answered, or was given up: the next may be asked."""


class DeputyAskedReady(Event, frozen=True, tag="ready_deputy_asked"):
    """The deputy was asked whether they will stand in, or asked again."""


class ItemsSilent(Event, frozen=True, tag="ready_items_silent"):
    """Nobody answered: the admin has these items now."""

    items: tuple[Item, ...]


class TeamTold(Event, frozen=True, tag="ready_team_told"):
    """The team got its line on this site, which named these items."""

    items: tuple[Item, ...] = ()


class PutOff(Event, frozen=True, tag="ready_put_off"):
    """It was agreed and does not take place: these items are missing."""

    items: tuple[Item, ...]


class StartAnyway(Event, frozen=True, tag="ready_start_anyway"):
    """A person starts it although these items are missing."""

    by: str
    items: tuple[Item, ...]


ReadyEvent = (
    DateSet
    | ReadyOpened
    | ItemSet
    | LabelRead
    | AskOver
    | DeputyAskedReady
    | ItemsSilent
    | TeamTold
    | PutOff
    | StartAnyway
)


def apply(visit: Visit, event: ReadyEvent, at: int) -> Visit:
    """The visit after ``event`` at the instant ``at``."""
    ready = visit.ready
    match event:
        case DateSet():
            return visit
        case ReadyOpened():
            ready = replace(ready, opened_at=at)
        case ItemSet():
            told = tuple(item for item in ready.told if not (event.good and item == event.item))
            return replace(visit, ready=replace(ready, known=_with(visit, event, at), told=told))
        case LabelRead():
            labels = tuple(dict.fromkeys((*ready.labels, event.serial)))
            ready = replace(ready, labels=labels)
        case AskOver():
            ready = replace(ready, free_at=at)
        case DeputyAskedReady():
            ready = replace(ready, deputy_asked=(*ready.deputy_asked, at))
        case ItemsSilent():
            silent = tuple(dict.fromkeys((*ready.silent, *event.items)))
            ready = replace(ready, silent=silent)
        case TeamTold():
            ready = replace(ready, team_told_at=at, told=event.items)
        case PutOff():
            ready = replace(ready, put_off_at=at)
        case StartAnyway():
            ready = replace(ready, anyway=event.by)
    return replace(visit, ready=ready)


def _with(visit: Visit, event: ItemSet, at: int) -> tuple[Known, ...]:
    """The newest word on each item, in the order in which they were first heard of."""
    new = Known(event.item, event.good, at, event.by, event.note, visit.serials)
    known = {one.item: one for one in visit.ready.known} | {event.item: new}
    return tuple(known.values())
