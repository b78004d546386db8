"""Orders written as a mention of the bot inside a visit's thread, where commands do not work."""

import logging
import re

from bot.desk import Desk
from bot.model.fact import Actor, Ordered
from bot.model.subject import Subject
from bot.send.chat import ChatOut
from bot.send.errors import SendError
from bot.send.hints import whisper
from bot.speak.catalogue import Catalogue
from handlers.clock import Now
from handlers.routing import by_words
from handlers.swaps import swap_order, with_other
from handlers.written import Written

_log = logging.getLogger("musterline.mentions")

#: Words of an order, and what they order.
ORDERS = {
    "restart": "restart",
    "rebook": "rebook",
    "ask": "ask",
    "ask again": "ask",
    "take over": "take_over",
    "hand back": "hand_back",
    "catch up": "catch_up",
    "release": "release",
    "revoke page": "revoke_page",
    "send page": "send_page",
    "start anyway": "start_anyway",
    "back out": "back_out",
    "go on": "go_on",
    "old box works": "old_works",
    "old unit works": "old_works",
}
#: What is settled before the evening, or is not, and the item that is meant.
_ITEMS = {
    "line tested": ("line", "yes"),
    "line not tested": ("line", "no"),
    "line failed": ("line", "no"),
    "in registry": ("registry", "yes"),
    "not in registry": ("registry", "no"),
}


#: ``carrier TICKET`` or ``carrier TICKET 120``: the line is with its carrier for so many minutes.
_CARRIER = re.compile(
    r"carrier (?:ticket )?(\S{1,40})(?: (\d{1,4})(?: ?min(?:utes)?)?)?", re.IGNORECASE
)
_CARRIER_MINUTES = "240"
#: ``go on 30``: and ask me again in so many minutes.
_GO_ON = re.compile(r"go on (?:for )?(\d{1,3})(?: ?min(?:utes)?)?", re.IGNORECASE)
#: ``rebook 2026-03-19 18:00``: that is the new date. What is no date, the visit refuses.
_NEW_DATE = re.compile(r"rebook (?:for |to |on )?(\d.{0,40})", re.IGNORECASE)


def ordered(words: str, subject: Subject, actor: Actor, fact_id: str, at: int) -> Ordered | None:
    """The order in ``words``, or ``None`` when it holds none that is known."""
    said = " ".join(words.split()).rstrip(".!")
    order, args = ORDERS.get(said.lower()), {}
    if carrier := _CARRIER.fullmatch(said):
        order = "third_party"
        args = {"ticket": carrier[1], "minutes": carrier[2] or _CARRIER_MINUTES}
    elif said.lower() in _ITEMS:
        item, value = _ITEMS[said.lower()]
        order, args = "ready", {"item": item, "value": value}
    elif said.lower() == "go on at my own risk":
        order, args = "go_on", {"risk": "yes"}
    elif on := _GO_ON.fullmatch(said):
        order, args = "go_on", {"minutes": on[1]}
    elif swap := swap_order(said):
        order, args = swap
    elif date := _NEW_DATE.fullmatch(said):
        order, args = "new_date", {"when": date[1]}
    if order is None:
        return None
    return Ordered(id=fact_id, subject=subject, received_at=at, actor=actor, order=order, args=args)


class Orders:
    """Brings orders in; what one does not do is told to who gave it. ``team``: the workspace."""

    def __init__(
        self, desk: Desk, chat: ChatOut, catalogue: Catalogue, now: Now, team: str
    ) -> None:
        self._desk, self._chat, self._catalogue, self._now = desk, chat, catalogue, now
        self._team = team

    async def given(self, written: Written) -> None:
        """An order of the team in a thread; of others the words are heard as a message."""
        route = await by_words(self._desk, written.channel, written.thread, written.user)
        actor = self._desk.surroundings.roster.actor(written.user)
        if route.subject is None or not route.in_thread or not (actor.oncall or actor.admin):
            return
        fact_id = f"mention:{self._team}:{written.channel}:{written.stamp}"
        fact = ordered(written.words, route.subject, actor, fact_id, self._now())
        if fact is None:
            await self._tell(written, "mention_help")
            return
        outcome = await self._desk.receive(await with_other(self._desk, fact))
        if outcome.answer != "ok":
            await self._tell(written, f"order_{outcome.answer}")

    async def _tell(self, written: Written, key: str) -> None:
        text = self._catalogue.best("en").say(key, {})
        try:
            await whisper(self._chat, written.channel, written.user, text, written.thread)
        except SendError as error:
            _log.warning("a hint to %s could not be shown: %s", written.user, error)
