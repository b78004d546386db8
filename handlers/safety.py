"""Words of danger: the fixed answer first, whatever the store does; its sending on record later."""

import asyncio
import logging
from collections import OrderedDict
from dataclasses import dataclass

from bot.desk import Desk
from bot.model.danger import Danger, find
from bot.model.fact import Delivered, Told
from bot.model.subject import Subject
from bot.send.chat import ChatOut
from bot.send.danger import TEMPLATE, answer
from bot.send.errors import SendError
from bot.speak.catalogue import Catalogue
from bot.store.errors import StoreError
from handlers.clock import Now
from handlers.written import Written

_log = logging.getLogger("musterline.safety")
_REMEMBERED = 1000
#: Characters. Searching the longest message of the platform (40,000) takes half a second.
_LONG = 2000


class Unanswered(SendError):
    """Who spoke of danger has no answer from us: what they wrote has to come again."""


@dataclass(frozen=True)
class Answered:
    """A fixed answer that was sent, and for which message."""

    channel: str
    thread: str
    stamp: str
    at: int


class Safety:
    """Answers words of danger. What was sent is kept until the store has taken it."""

    def __init__(self, desk: Desk, chat: ChatOut, catalogue: Catalogue, now: Now) -> None:
        self._desk, self._chat, self._catalogue, self._now = desk, chat, catalogue, now
        #: By the place and stamp of the message; where there is no subject it is never taken.
        self._sent: OrderedDict[str, list[Answered]] = OrderedDict()
        self._event: OrderedDict[str, str] = OrderedDict()

    async def found(self, written: Written) -> Danger | None:
        """The danger that has to be answered at once. In doubt it is.

        Only the team may ask about danger without there being one; and who says that there is
        none is not told to run: the visit asks.
        """
        lexicons = tuple(self._desk.surroundings.lexicons.values())
        if len(written.whole) > _LONG:
            danger = await asyncio.to_thread(find, written.whole, lexicons)
        else:
            danger = find(written.whole, lexicons)
        if danger is None or danger.stance == "denied":
            return None
        actor = self._desk.surroundings.roster.actor(written.user)
        if danger.stance == "asked" and (actor.oncall or actor.admin):
            return None
        return danger

    async def answer(self, written: Written, event: str, danger: Danger) -> bool:
        """Before anything else, and with no store involved; whether it got through.

        In the languages whose words were found: who writes may be unknown, and the store away.
        A message that comes again is answered again: repeating is right where losing would be
        wrong. The platform tells of a mention twice, as ``event`` of two kinds: that is once.
        """
        key = f"{written.channel}:{written.stamp}"
        if self._event.setdefault(key, event) != event:
            return True
        thread = written.thread or ("" if written.direct else written.stamp)
        try:
            stamp = await answer(
                self._chat, self._catalogue, written.channel, thread, danger.languages
            )
        except SendError:
            _log.exception("the safety answer to %s could not be sent", written.user)
            self._event.pop(key, None)
            return False
        while len(self._event) > _REMEMBERED:
            self._event.popitem(last=False)
        sent = Answered(written.channel, thread, stamp, self._now())
        self._sent.setdefault(key, []).append(sent)
        while len(self._sent) > _REMEMBERED:
            self._sent.popitem(last=False)
        return True

    async def confirmed(self, channel: str, thread: str) -> None:
        """A yes to our question about danger, by its button: answered at once, store or not.

        In every language, for whose visit it is may not be known. Raises nothing: the visit
        says it as well.
        """
        languages = tuple(self._desk.surroundings.lexicons)
        try:
            await answer(self._chat, self._catalogue, channel, thread, languages)
        except SendError:
            _log.exception("the safety answer to a press in %s could not be sent", channel)

    async def record(self, written: Written, subject: Subject) -> None:
        """Put on record what was sent for this message. Raises ``StoreError``; it is kept then."""
        key = f"{written.channel}:{written.stamp}"
        waiting = self._sent.pop(key, [])
        while waiting:
            try:
                await self._desk.receive(_fact(waiting[0], subject))
            except StoreError:
                self._sent.setdefault(key, []).extend(waiting)
                raise
            del waiting[0]

    @property
    def unrecorded(self) -> int:
        return sum(len(some) for some in self._sent.values())


def _fact(sent: Answered, subject: Subject) -> Delivered | Told:
    """For a visit it is a message like any other that arrived; a wave hears of it."""
    fact_id = f"safety:{sent.channel}:{sent.stamp}"
    if subject.kind != "visit":
        return Told(
            id=fact_id,
            subject=subject,
            received_at=sent.at,
            source=subject,
            what="safety_answer",
            args={"channel": sent.channel, "stamp": sent.stamp},
        )
    return Delivered(
        id=fact_id,
        subject=subject,
        received_at=sent.at,
        message=fact_id,
        template=TEMPLATE,
        thread=f"site:{subject.site}",
        channel=sent.channel,
        stamp=sent.stamp,
    )
