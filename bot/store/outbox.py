"""The outbox as the sender sees it: heads of threads, claims, and what became of them."""

from collections.abc import Callable
from typing import Literal, cast

import msgspec

from bot.model.message import Message
from bot.store import keys
from bot.store.base import Connected, number, texts
from bot.store.commit import Settle
from bot.store.errors import StoreRefused
from bot.store.pack import settle_call
from bot.store.wire import Call, Script, command

_CLAIM = Script("claim")
_RELEASE = Script("release")
_READY = Script("ready")
_HEADS = Script("heads")

_message = msgspec.json.Decoder(Message)
_state = msgspec.msgpack.Decoder(tuple[str, int, int, str, str, int, str])
_names = msgspec.msgpack.Decoder(list[str])
_dead = msgspec.msgpack.Decoder(tuple[str, str, str])


_BEHIND = 64  # so many unread messages in a thread without order are looked past

#: Hears of a thread with a message that cannot be read, and why.
Unread = Callable[[str, StoreRefused], None]


class Queued(msgspec.Struct, frozen=True, gc=False):
    """An unsent message. ``sending`` without a live lease means: its end is unknown."""

    message: Message
    state: Literal["queued", "sending"]
    attempt: int  # how often it was claimed
    lease_until: int  # process time, ms; 0 when its thread is claimed by nobody
    why: str = ""  # the error of the last attempt


class Claimed(msgspec.Struct, frozen=True, gc=False):
    """It is ours to send. ``doubt``: an earlier attempt may have been posted."""

    attempt: int
    doubt: bool


class Thread(msgspec.Struct, frozen=True, gc=False):
    """What is known of a thread's place: channel, root stamp, slots (stamp and revision)."""

    channel: str = ""
    root: str = ""
    slots: dict[str, tuple[str, int]] = {}


class DeadLetter(msgspec.Struct, frozen=True, gc=False):
    """A message that can never be delivered this way."""

    message: Message
    why: str


NotClaimed = Literal["gone", "behind", "taken"]


class Outbox(Connected):
    """``wave`` arguments are wave time, ``process`` arguments process time shared by all
    replicas (the wall clock), both in ms."""

    async def ready(
        self,
        home: str,
        limit: int,
        *,
        wave: int,
        process: int,
        wanted: Callable[[str], bool] = lambda thread: True,  # noqa: ARG005
        always: str = "",
        unread: Unread | None = None,
    ) -> list[Queued]:
        """Heads of threads that may be sent now, the most urgent first.

        Left out are threads under a live lease and those that wait after a passing error. Only
        the heads of threads that are ``wanted`` are read. The thread ``always`` is looked at
        even where ``limit`` others stand before it; it is one that is never claimed nor waits,
        and keeps no order.

        A message that cannot be read stops its own thread and no other: ``unread`` hears of it,
        and only without one ``StoreRefused`` is raised.
        """
        k = keys.of(home)
        call = self._script_call(_READY, [k.ready, k.later, k.busy], wave, process, limit)
        threads = _names.decode(cast("bytes", await self._reads.submit(call)))
        if always and len(threads) == limit and always not in threads:
            threads.append(always)
        threads = [thread for thread in threads if wanted(thread)]
        answers = await self._read_all(self._heads_call(k, thread, 1) for thread in threads)
        found: list[Queued] = []
        for thread, answer in zip(threads, answers, strict=True):
            heads = _heads(answer, thread, unread)
            if not heads and thread == always:  # there is something behind the one unread
                heads = (await self.unsent(home, thread, _BEHIND, unread))[:1]
            found += heads
        return found

    async def unsent(
        self, home: str, thread: str, limit: int, unread: Unread | None = None
    ) -> list[Queued]:
        """The first messages of one thread, in order, whatever state they are in.

        ``unread``: as for ``ready``, and those are left out.
        """
        answer = await self._reads.submit(self._heads_call(keys.of(home), thread, limit))
        return _heads(answer, thread, unread)

    async def claim(
        self, home: str, thread: str, message: str, *, process: int, lease_until: int
    ) -> Claimed | NotClaimed:
        """Take a thread's head for sending until ``lease_until``.

        ``gone``: settled or superseded; ``behind``: not the head; ``taken``: a live lease.
        """
        k = keys.of(home)
        self._probe("claim.before")
        touched = [k.queue(thread), k.outbox(thread), k.busy, k.doubt]
        call = self._script_call(_CLAIM, touched, thread, message, process, lease_until)
        answer = await self._writes.submit(call)
        self._probe("claim.after")
        if isinstance(answer, bytes):
            return cast("NotClaimed", answer.decode())
        attempt, doubt = cast("list[int]", answer)
        return Claimed(attempt, bool(doubt))

    async def release(
        self, home: str, thread: str, message: str, *, not_before: int, why: str, doubt: bool
    ) -> None:
        """Give a claimed message back until wave time ``not_before``.

        ``doubt``: it may have been posted all the same, so the next claim is in doubt.
        """
        k = keys.of(home)
        touched = [k.outbox(thread), k.busy, k.later]
        args = (thread, message, not_before, why, int(doubt))
        await self._writes.submit(self._script_call(_RELEASE, touched, *args))

    async def extend(self, home: str, thread: str, lease_until: int) -> None:
        """Move the end of a lease that we hold."""
        await self._write(keys.of(home).busy, "ZADD", keys.of(home).busy, "XX", lease_until, thread)

    async def free_leases(self, home: str) -> None:
        """End every lease at once: for the start of a bot that shares its store with nobody."""
        await self._write(keys.of(home).busy, "DEL", keys.of(home).busy)

    async def settle(self, home: str, settles: tuple[Settle, ...]) -> None:
        """End messages of the home without a fact, e.g. follow-ups that reached their subject.

        Settling what is settled changes nothing.
        """
        if settles:
            call = settle_call(home, settles)
            self._probe("end.before")
            await self._writes.submit(call)
            self._probe("end.after")

    async def thread_info(self, home: str, thread: str) -> Thread:
        key = keys.of(home).thread(thread)
        flat = cast("list[bytes]", await self._read(key, "HGETALL", key))
        fields = dict(zip(texts(flat[::2]), texts(flat[1::2]), strict=True))
        slots: dict[str, tuple[str, int]] = {}
        for name, value in fields.items():
            if name.startswith("slot:"):
                stamp, _, rev = value.rpartition(" ")
                slots[name[5:]] = (stamp, int(rev))
        return Thread(fields.get("channel", ""), fields.get("root", ""), slots)

    async def waiting(self, home: str) -> int:
        """How many messages are not settled."""
        k = keys.of(home)
        threads = texts(await self._read(k.ready, "ZRANGE", k.ready, 0, -1))
        queues = [k.queue(thread) for thread in threads]
        return sum(cast("list[int]", await self._read_all(command(q, "LLEN", q) for q in queues)))

    async def idle(self, home: str) -> bool:
        """Whether nothing at all is unsent (one cheap question, unlike ``waiting``)."""
        k = keys.of(home)
        return await self._read(k.ready, "ZCARD", k.ready) == 0

    async def next_retry(self, home: str) -> int | None:
        """The wave time at which the first thread that waits after an error may go on."""
        k = keys.of(home)
        found = cast(
            "list[bytes]", await self._read(k.later, "ZRANGE", k.later, 0, 0, "WITHSCORES")
        )
        return number(found[1]) if found else None

    async def doubts(self, home: str) -> dict[str, int]:
        """Threads in which something was sent in doubt, and since when (process time)."""
        k = keys.of(home)
        flat = cast(
            "list[bytes]", await self._read(k.doubt, "ZRANGE", k.doubt, 0, -1, "WITHSCORES")
        )
        return {name: number(at) for name, at in zip(texts(flat[::2]), flat[1::2], strict=True)}

    async def doubt_ends(self, home: str, thread: str) -> None:
        """The thread was read, and one copy of each message remains."""
        k = keys.of(home)
        await self._write(k.doubt, "ZREM", k.doubt, thread)

    async def dead_letters(self, home: str) -> list[DeadLetter]:
        k = keys.of(home)
        flat = cast("list[bytes]", await self._read(k.dead, "HGETALL", k.dead))
        letters: list[DeadLetter] = []
        for packed in flat[1::2]:
            _, why, body = _dead.decode(packed)
            letters.append(DeadLetter(_message.decode(body), why))
        return letters

    def _heads_call(self, k: keys.Home, thread: str, limit: int) -> Call:
        touched = [k.queue(thread), k.outbox(thread), k.busy]
        return self._script_call(_HEADS, touched, thread, limit)


def _heads(answer: object, thread: str, unread: Unread | None) -> list[Queued]:
    lease, *rest = cast("list[bytes]", answer)
    found: list[Queued] = []
    for body, packed in zip(rest[::2], rest[1::2], strict=True):
        try:
            message = _message.decode(body)
            state, attempt, _, _, _, _, why = _state.decode(packed)
        except (msgspec.DecodeError, TypeError, UnicodeDecodeError) as error:
            refused = StoreRefused(f"a message in the outbox is not of this version: {error}")
            if unread is None:
                raise refused from error
            unread(thread, refused)
            continue
        found.append(
            Queued(
                message, cast("Literal['queued', 'sending']", state), attempt, number(lease), why
            )
        )
    return found
