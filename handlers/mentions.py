"""Orders written as a mention of the bot inside a visit's thread."""

import re

from bot.model.fact import Actor, Ordered
from bot.model.subject import Subject

_MENTION = re.compile(r"<@[UW][A-Z0-9]+(\|[^>]*)?>")
#: Words of an order, and what they order.
ORDERS = {
    "restart": "restart",
    "rebook": "rebook",
    "ask": "ask",
    "ask again": "ask",
}


def ordered(text: str, subject: Subject, actor: Actor, fact_id: str, at: int) -> Ordered | None:
    """The order in ``text``, or ``None`` when it holds none that is known."""
    words = " ".join(_MENTION.sub(" ", text).lower().split())
    order = ORDERS.get(words)
    if order is None:
        return None
    return Ordered(id=fact_id, subject=subject, received_at=at, actor=actor, order=order)
