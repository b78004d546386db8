"""What a decision is made of, whatever the subject."""

from typing import Generic, TypeVar

import msgspec

from bot.model.event import Event
from bot.model.message import Message

S = TypeVar("S")


class Decision(msgspec.Struct, Generic[S], frozen=True, gc=False):
    """``events`` in order, the snapshot they give, and what is to be said.

    ``answer`` tells the one who brought the fact what became of it: ``ok``, ``repeat``,
    ``stale`` (a button of a question that is no longer open), ``not_yours`` (no right to
    do that), ``nothing`` (noted, changes nothing) or ``danger``.
    """

    after: S
    events: tuple[Event, ...] = ()
    messages: tuple[Message, ...] = ()
    answer: str = "ok"
    hold: bool | None = None  # wave only
