"""What is kept aside: registrations nobody expects, facts that failed.

Shown, never acted on; but a registration that was kept only because the index of serials was
behind is brought to its visit when the index has caught up (`of_serial`).
"""

import msgspec
from msgspec.structs import replace

from bot.model.context import Context
from bot.model.decision import Decision
from bot.model.event import Event
from bot.model.fact import AnyFact, Delivered, Registered, Undeliverable
from bot.model.message import ANSWER, Message
from bot.model.serial import normal

_SHOWN = 200


_UNKNOWN = "unknown serial"


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


def decide(kept: Kept | None, fact: AnyFact, context: Context) -> Decision[Kept]:
    """Keep ``fact``: an unknown serial, or any other fact that could not be brought in.

    The admins are told of a serial once; that the message to them arrived changes nothing.
    """
    if isinstance(fact, (Delivered, Undeliverable)):
        return Decision(kept or Kept(), answer="nothing")
    if not isinstance(fact, Registered):
        event = KeptAside("failed", detail=type(fact).__name__)
        return Decision(evolve(kept, event, fact.received_at, fact.id), (event,), answer="kept")
    event = KeptAside(_UNKNOWN, fact.serial, fact.source, fact.kind)
    known = {(i.serial, i.source) for i in kept.items} if kept else set()
    told = () if (fact.serial, fact.source) in known else (_note(fact, context),)
    after = evolve(kept, event, fact.received_at, fact.id)
    return Decision(after, (event,), told, answer="kept")


def _note(fact: Registered, context: Context) -> Message:
    """One line for the admins in the team's channel."""
    return Message(
        id=f"{fact.subject}:{context.version + 1}:1",
        thread="team:kept_aside",
        template="kept_aside",
        urgency=ANSWER,
        args={"serial": fact.serial, "source": fact.source},
        made_at=fact.received_at,
    )


def evolve(kept: Kept | None, event: KeptAside, at: int, fact_id: str) -> Kept:
    before = kept or Kept()
    item = Item(at, fact_id, event.what, event.serial, event.source, event.detail)
    return replace(before, count=before.count + 1, items=(*before.items, item)[-_SHOWN:])


def of_serial(kept: Kept, serial: str, since: int) -> list[Item]:
    """Registrations of a serial that were kept aside at ``since`` (ms) or later, oldest first."""
    wanted = normal(serial)
    return [
        item
        for item in kept.items
        if item.what == _UNKNOWN and item.at >= since and normal(item.serial) == wanted
    ]
