"""What is kept aside: registrations nobody expects, facts that failed. Shown, never acted on."""

import msgspec
from msgspec.structs import replace

from bot.model.decision import Decision
from bot.model.event import Event
from bot.model.fact import AnyFact, Registered

_SHOWN = 200


class KeptAside(Event, frozen=True, tag="kept_aside"):
    what: str  # "unknown serial" or "failed"
    serial: str = ""
    source: str = ""
    detail: str = ""


class Item(msgspec.Struct, frozen=True):
    at: int
    fact: str
    what: str
    serial: str = ""
    source: str = ""
    detail: str = ""


class Kept(msgspec.Struct, frozen=True):
    """The newest items; all of them are in the journal."""

    count: int = 0
    items: tuple[Item, ...] = ()


def decide(kept: Kept | None, fact: AnyFact) -> Decision[Kept]:
    """Keep ``fact``: an unknown serial, or any other fact that could not be brought in."""
    if isinstance(fact, Registered):
        event = KeptAside("unknown serial", fact.serial, fact.source, fact.kind)
    else:
        event = KeptAside("failed", detail=type(fact).__name__)
    return Decision(evolve(kept, event, fact.received_at, fact.id), (event,), answer="kept")


def evolve(kept: Kept | None, event: KeptAside, at: int, fact_id: str) -> Kept:
    before = kept or Kept()
    item = Item(at, fact_id, event.what, event.serial, event.source, event.detail)
    return replace(before, count=before.count + 1, items=(*before.items, item)[-_SHOWN:])
