"""Orders written as a mention of the bot inside a visit's thread."""

from bot.model.fact import Actor, Ordered
from bot.model.subject import Subject

#: Words of an order, and what they order.
ORDERS = {
    "restart": "restart",
    "rebook": "rebook",
    "ask": "ask",
    "ask again": "ask",
}


def ordered(words: str, subject: Subject, actor: Actor, fact_id: str, at: int) -> Ordered | None:
    """The order in ``words``, or ``None`` when it holds none that is known."""
    order = ORDERS.get(" ".join(words.lower().split()).rstrip(".!"))
    if order is None:
        return None
    return Ordered(id=fact_id, subject=subject, received_at=at, actor=actor, order=order)
