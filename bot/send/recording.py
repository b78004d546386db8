"""What became of a message, told to the desk, whose commit settles it in the same stroke."""

import asyncio
from collections import OrderedDict

from bot.model.fact import Delivered, Undeliverable
from bot.model.message import Message
from bot.model.subject import parse
from bot.send.errors import PersonAway, SendError
from bot.send.ports import Receiver
from bot.store.commit import Settle

REMEMBERED = 5000


class Recorder:
    """Keeps what the store could not take yet, and remembers what it took.

    The first, so that a message that is out is never posted again because the store was away;
    the second, so that one that the outbox still shows is settled and not sent.
    """

    def __init__(self, desk: Receiver) -> None:
        self._desk = desk
        self._waiting: dict[str, tuple[Delivered | Undeliverable, Settle]] = {}
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

    async def again(self) -> None:
        """Bring what was kept. Raises ``StoreError`` when the store is still away."""
        waiting = list(self._waiting.values())
        results = await asyncio.gather(
            *(self._record(fact, end) for fact, end in waiting), return_exceptions=True
        )
        for result in results:
            if isinstance(result, BaseException):
                raise result

    async def _record(self, fact: Delivered | Undeliverable, end: Settle) -> None:
        self._waiting[fact.id] = (fact, end)
        await self._desk.receive(fact)
        self._waiting.pop(fact.id, None)
        self._known[fact.id.partition(":")[2]] = end
        while len(self._known) > REMEMBERED:
            self._known.popitem(last=False)


def _ident(message: Message) -> str:
    return f"{message.id}:{message.rev}"
