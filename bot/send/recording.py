"""What became of a message, told to the desk, whose commit settles it in the same stroke."""

import asyncio
import logging
from collections import OrderedDict

from bot.model.fact import Delivered, Undeliverable
from bot.model.message import Message
from bot.model.subject import parse
from bot.send.chat import time_of
from bot.send.errors import PersonAway, SendError
from bot.send.ports import Receiver
from bot.store.commit import Settle
from bot.store.errors import StoreRefused

REMEMBERED = 5000
_log = logging.getLogger("musterline.send")


class Recorder:
    """Keeps what the store could not take yet, and remembers what it took.

    The first, so that a message that is out is never posted again because the store was away;
    the second, so that one that the outbox still shows is settled and not sent.
    """

    def __init__(self, desk: Receiver) -> None:
        self._desk = desk
        self._waiting: dict[str, tuple[Delivered | Undeliverable, Settle]] = {}
        self._refused: dict[str, str] = {}  # of those waiting: why, as it was logged
        self._known: OrderedDict[str, Settle] = OrderedDict()

    @property
    def waiting(self) -> int:
        return len(self._waiting)

    def known(self, message: Message) -> Settle | None:
        """How the message ended, if it did."""
        return self._known.get(_ident(message))

    async def delivered(self, message: Message, channel: str, stamp: str, now: int) -> None:
        """It was confirmed at ``now`` (wave time, ms). Raises ``StoreError``; it is kept then."""
        fact = Delivered(
            id=f"sent:{_ident(message)}",
            subject=parse(message.id.rsplit(":", 2)[0]),
            received_at=now,
            claimed_at=time_of(stamp),
            message=message.id,
            template=message.template,
            thread=message.thread,
            channel=channel,
            stamp=stamp,
            slot=message.slot,
            rev=message.rev,
            root=message.root,
        )
        end = Settle(
            message=message.id,
            thread=message.thread,
            state="sent",
            channel=channel,
            stamp=stamp,
            slot=message.slot,
            rev=message.rev,
            root=message.root,
        )
        await self._record(fact, end)

    async def dead(self, message: Message, error: Exception, now: int) -> None:
        """It can never go this way. Raises ``StoreError``; it is kept then."""
        kind = "person" if isinstance(error, PersonAway) else "message"
        why = error.why if isinstance(error, SendError) else repr(error)
        fact = Undeliverable(
            id=f"dead:{_ident(message)}",
            subject=parse(message.id.rsplit(":", 2)[0]),
            received_at=now,
            message=message.id,
            template=message.template,
            thread=message.thread,
            why=f"{kind}: {why}",
        )
        end = Settle(message=message.id, thread=message.thread, state="dead", why=fact.why)
        await self._record(fact, end)

    async def again(self) -> StoreRefused | None:
        """Bring what was kept. Raises ``StoreAway`` when the store is still away.

        What the store refuses is kept on, and keeps nothing else from being sent; the first such
        error is given back.
        """
        waiting = list(self._waiting.values())
        results = await asyncio.gather(
            *(self._record(fact, end) for fact, end in waiting), return_exceptions=True
        )
        refused: StoreRefused | None = None
        for (fact, _), result in zip(waiting, results, strict=True):
            if isinstance(result, StoreRefused):
                self._log_refused(fact.id, result)
                refused = refused or result
            elif isinstance(result, BaseException):
                raise result
        return refused

    def _log_refused(self, fact_id: str, error: StoreRefused) -> None:
        if self._refused.get(fact_id) != str(error):
            self._refused[fact_id] = str(error)
            _log.error("the store refuses %s: %s", fact_id, error)

    async def _record(self, fact: Delivered | Undeliverable, end: Settle) -> None:
        self._waiting[fact.id] = (fact, end)
        await self._desk.receive(fact)
        self._waiting.pop(fact.id, None)
        self._refused.pop(fact.id, None)
        self._known[fact.id.partition(":")[2]] = end
        while len(self._known) > REMEMBERED:
            self._known.popitem(last=False)


def _ident(message: Message) -> str:
    return f"{message.id}:{message.rev}"
