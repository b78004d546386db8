"""The sender: takes what is ready out of the outbox and sees it delivered, one copy of each.

Wave time decides when something may go (pacing, retries); process time only how long a claim
lasts. A claim's lease is at least twice the deadline of a call, so that a lease that ran out
means a call that has ended.
"""

import asyncio
import logging
import random
import time
import zlib
from collections import OrderedDict
from collections.abc import Callable, Coroutine
from dataclasses import dataclass
from typing import Any

from bot.model.fact import Delivered, Undeliverable
from bot.model.message import ESCALATION, Message
from bot.model.subject import parse
from bot.send.chat import ChatOut
from bot.send.deliver import Deliver, Job, recorded
from bot.send.errors import (
    ChannelAway,
    InDoubt,
    MessageRefused,
    Passing,
    PersonAway,
    SendError,
    TooLate,
)
from bot.send.leases import ChannelLeases
from bot.send.mail import MailOut
from bot.send.pacing import Pacing
from bot.send.ports import (
    IndexStore,
    OutboxStore,
    People,
    Places,
    Probe,
    Receiver,
    Tell,
    Trouble,
)
from bot.send.relay import Relay
from bot.send.tidy import Tidy, tidy_all
from bot.speak.catalogue import Catalogue
from bot.store import probe as probes
from bot.store.commit import Settle
from bot.store.errors import StoreError
from bot.store.outbox import Claimed, Queued, Thread

_log = logging.getLogger("musterline.send")
Clock = Callable[[], int]
Key = tuple[str, str]  # home, thread


def wall_clock() -> int:
    """Process time that all replicas share: milliseconds of the wall clock."""
    return time.time_ns() // 1_000_000


@dataclass(frozen=True)
class SenderSettings:
    """``lease``, ``in_doubt_wait``, ``tidy_after``: process time, ms; ``hold``: wave time, ms."""

    lease: int = 20_000
    in_doubt_wait: int = 10_000
    tidy_after: int = 60_000
    hold: int = 60_000
    parallel: int = 8
    parallel_calls: int = 4  # more of them, kept for escalations
    look_at: int = 512
    bug_tries: int = 5


@dataclass(frozen=True)
class Swept:
    """``sent``: messages that left; ``next_at``: the wave time at which more may go; ``busy``:
    something is under way or in doubt now, so wave time must stand still."""

    sent: int
    next_at: int | None
    busy: bool


@dataclass(frozen=True)
class _Ready:
    home: str
    queued: Queued
    info: Thread

    @property
    def key(self) -> Key:
        return self.home, self.queued.message.thread


async def _log_trouble(trouble: Trouble) -> None:
    _log.error("%s", trouble)


class Sender:
    """One per process. ``tell`` hears of what a person has to know."""

    def __init__(
        self,
        *,
        store: OutboxStore,
        index: IndexStore,
        desk: Receiver,
        chat: ChatOut,
        catalogue: Catalogue,
        places: Places,
        people: People,
        mail: MailOut | None = None,
        pacing: Pacing | None = None,
        leases: ChannelLeases | None = None,
        tell: Tell = _log_trouble,
        probe: Probe = probes.nothing,
        settings: SenderSettings | None = None,
        process: Clock = wall_clock,
    ) -> None:
        self.settings = settings or SenderSettings()
        if chat.deadline * 2000 > self.settings.lease:
            raise ValueError(
                f"a lease of {self.settings.lease} ms must be twice the deadline of a call, "
                f"{chat.deadline} s: a lease that ran out must mean a call that has ended"
            )
        self._store, self._desk, self._places = store, desk, places
        self._chat, self._tell, self._process = chat, tell, process
        self._pacing, self._leases = pacing or Pacing(), leases
        self._deliver = Deliver(store, chat, catalogue, people, mail, probe)
        self._relay = Relay(store, index, desk)
        self._tidy = Tidy(store, chat, after=self.settings.tidy_after, process=process)
        self._tasks: dict[Key, asyncio.Task[int]] = {}
        self._deferred: dict[Key, int] = {}  # until a wave time
        self._rest: dict[Key, int] = {}  # until a process time
        self._doubtful: dict[Key, int] = {}  # until a process time
        self._held: dict[str, tuple[int, str]] = {}  # place -> wave time, why
        self._unrecorded: dict[str, tuple[Delivered | Undeliverable, Settle]] = {}
        self._recorded: OrderedDict[str, Settle] = OrderedDict()

    # --- one pass ---------------------------------------------------------------------

    async def run_once(self, now: int) -> Swept:
        """Start what is ready at wave time ``now`` and wait for it. Raises ``StoreError``."""
        await self._start(lambda: now)
        sent = await self._finish()
        homes = await self._store.homes()
        idle = all([await self._store.idle(home) for home in homes])
        next_at = await self._next_at(homes, now)
        process = self._process()
        resting = any(at > process for at in (*self._doubtful.values(), *self._rest.values()))
        waiting = bool(resting or self._unrecorded or self._tasks)
        return Swept(sent, next_at, sent > 0 or waiting or (not idle and next_at is None))

    async def _finish(self) -> int:
        tasks = list(self._tasks.values())
        results = await asyncio.gather(*tasks, return_exceptions=True)
        wrong = [result for result in results if isinstance(result, BaseException)]
        if wrong:
            raise wrong[0]
        return sum(result for result in results if isinstance(result, int))

    async def _next_at(self, homes: list[str], now: int) -> int | None:
        times = [at for at in self._deferred.values() if at > now]
        times += [at for at, _ in self._held.values() if at > now]
        for home in homes:
            at = await self._store.next_retry(home)
            if at is not None and at > now:
                times.append(at)
        return min(times, default=None)

    async def _start(self, clock: Clock) -> int:
        """Start tasks for what may go now, the most urgent first; how many were started."""
        await self._record_again()
        now, process = clock(), self._process()
        self._rest = {key: at for key, at in self._rest.items() if at > process}
        self._deferred = {key: at for key, at in self._deferred.items() if at > now}
        old = process - self.settings.lease
        self._doubtful = {key: at for key, at in self._doubtful.items() if at > old}
        found = await asyncio.gather(
            *(self._ready(home, now, process) for home in await self._store.homes())
        )
        ready = sorted((one for some in found for one in some), key=_order)
        started = 0
        for one in ready:
            if self._full(one.queued.message.urgency):
                break
            started += await self._start_one(one, now, process, clock)
        return started

    def _full(self, urgency: int) -> bool:
        kept = self.settings.parallel_calls if urgency <= ESCALATION else 0
        return len(self._tasks) >= self.settings.parallel + kept

    async def _ready(self, home: str, now: int, process: int) -> list[_Ready]:
        queued = await self._store.ready(home, self.settings.look_at, wave=now, process=process)
        free = [one for one in queued if self._free((home, one.message.thread))]
        infos = await asyncio.gather(
            *(self._store.thread_info(home, one.message.thread) for one in free)
        )
        return [_Ready(home, one, info) for one, info in zip(free, infos, strict=True)]

    def _free(self, key: Key) -> bool:
        return not (key in self._tasks or key in self._deferred or key in self._rest)

    async def _start_one(self, one: _Ready, now: int, process: int, clock: Clock) -> int:
        message = one.queued.message
        if message.way in {"fact", "index"}:
            self._spawn(one, self._relay.run(one.home, message.thread))
            return 1
        if (ended := self._ended(one, now)) is not None:
            await self._store.settle(one.home, (ended,))
            return 1
        if self._in_doubt_still(one, process):
            return 0
        if message.way == "mail":
            self._spawn(one, self._send(one, "mail", clock))
            return 1
        try:
            place = await self._place(one)
        except LookupError as error:
            self._deferred[one.key] = now + self.settings.hold
            await self._hold(one, f"{one.home}/{message.thread}", 0, str(error), now)
            return 0
        if self._leases is not None and not await self._leases.held(place):
            self._rest[one.key] = process + 1000
            return 0
        wait = await self._must_wait(one, place, now)
        if wait:
            self._deferred[one.key] = wait
            return 0
        self._spawn(one, self._send(one, place, clock))
        return 1

    def _spawn(self, one: _Ready, work: Coroutine[Any, Any, int]) -> None:
        task = asyncio.get_running_loop().create_task(work)
        self._tasks[one.key] = task
        task.add_done_callback(lambda done: self._task_ended(one.key, done))

    def _task_ended(self, key: Key, task: "asyncio.Task[int]") -> None:
        self._tasks.pop(key, None)
        if not task.cancelled() and (error := task.exception()) is not None:
            self._rest[key] = self._process() + 250
            _log.error("sending to %s of %s did not end well: %r", key[1], key[0], error)

    def _ended(self, one: _Ready, now: int) -> Settle | None:
        """How the message ends without being sent: recorded before, too late, or overtaken."""
        message = one.queued.message
        if (known := self._recorded.get(_ident(message))) is not None:
            return known
        if one.queued.state == "sending":
            return None  # it may be out there: look first
        newer = message.slot and one.info.slots.get(message.slot, ("", -1))[1] > message.rev
        if not _late(message, now) and not newer:
            return None
        return _dropped(message)

    def _in_doubt_still(self, one: _Ready, process: int) -> bool:
        """Whether an earlier attempt may still be on its way to the other side."""
        if one.queued.state != "sending":
            self._doubtful.pop(one.key, None)
            return False
        until = self._doubtful.get(one.key)
        if until is None:
            # Claimed by a process that is gone. Its call ended half a lease before the lease.
            call_ended = one.queued.lease_until - self.settings.lease // 2
            base = call_ended if one.queued.lease_until else process
            until = self._doubtful[one.key] = base + self.settings.in_doubt_wait
        return until > process

    async def _place(self, one: _Ready) -> str:
        """The channel, or the person, that a thread lives in."""
        thread = one.queued.message.thread
        if one.info.channel and (one.info.root or thread.startswith("user:")):
            return one.info.channel
        if thread.startswith("user:"):
            return thread.removeprefix("user:")
        return await self._places.channel_of(one.home, thread)

    async def _must_wait(self, one: _Ready, place: str, now: int) -> int:
        """0: it may go now. Else the wave time to wait for."""
        for name in (place, "*"):
            until, _ = self._held.get(name, (0, ""))
            if until > now:
                return until
        message = one.queued.message
        if recorded(message, one.info, place):
            return self._pacing.edit(now)
        return await self._pacing.post(place, message.urgency, now)

    # --- one message ------------------------------------------------------------------

    async def _send(self, one: _Ready, place: str, clock: Clock) -> int:
        """Claim, send, record. 1 when it is delivered."""
        message, key = one.queued.message, one.key
        process = self._process()
        claimed = await self._store.claim(
            one.home,
            message.thread,
            message.id,
            process=process,
            lease_until=process + self.settings.lease,
        )
        if not isinstance(claimed, Claimed):
            self._rest[key] = process + (1000 if claimed == "taken" else 1)
            return 0
        self._doubtful.pop(key, None)
        doubt = claimed.doubt or one.queued.state == "sending"
        try:
            fact = await self._out(one, place, doubt, clock)
        except (MessageRefused, PersonAway) as error:
            await self._record_dead(one, error, clock())
            await self._tell_of(one, "message", place, error.why, clock())
            return 0
        except InDoubt as error:
            await self._doubt_begins(one, error)
            return 0
        except TooLate:
            await self._store.settle(one.home, (_dropped(message),))
            return 0
        except SendError as error:
            await self._later(one, place, claimed.attempt, doubt, error, clock)
            return 0
        except StoreError:
            raise
        except Exception as error:  # noqa: BLE001
            _log.exception("sending %s failed by a mistake of ours", message.id)
            if claimed.attempt >= self.settings.bug_tries:
                await self._record_dead(one, error, clock())
            else:
                wrong = Passing(repr(error))
                await self._later(one, place, claimed.attempt, True, wrong, clock)
            await self._tell_of(one, "bug", place, repr(error), clock())
            return 0
        self._held.pop(place, None)
        self._held.pop("*", None)
        await self._record(fact, _sent(fact, message.root))
        return 1

    async def _out(self, one: _Ready, place: str, doubt: bool, clock: Clock) -> Delivered:
        message = one.queued.message
        if message.way == "mail":
            stamp = await self._deliver.mail(message)
            return self._delivered(message, "", stamp, clock())

        async def renew() -> None:
            until = self._process() + self.settings.lease
            await self._store.extend(one.home, message.thread, until)

        job = Job(one.home, message, place, one.info, doubt, _late(message, clock()))
        posted, unpinned = await self._deliver.chat(job, renew)
        if unpinned:
            await self._tell_of(one, "pin", place, unpinned, clock())
        return self._delivered(message, posted.channel, posted.stamp, clock())

    async def _doubt_begins(self, one: _Ready, error: InDoubt) -> None:
        """Nobody knows whether it is there. The lease keeps others away until we may look."""
        message = one.queued.message
        until = self._process() + self.settings.in_doubt_wait
        self._doubtful[one.key] = until
        _log.warning("message %s is in doubt: %s", message.id, error.why)
        await self._store.extend(one.home, message.thread, until)

    async def _later(
        self, one: _Ready, place: str, attempt: int, doubt: bool, error: SendError, clock: Clock
    ) -> None:
        message, now = one.queued.message, clock()
        until = now + _backoff(attempt, message.id)
        if isinstance(error, Passing):
            doubt = doubt or error.part == "pin"
            if error.wait is not None:
                until = now + error.wait
                self._pause_asked(error, place, until)
        elif isinstance(error, ChannelAway):
            until = now + self.settings.hold
        _log.warning("message %s waits: %s", message.id, error.why)
        await self._store.release(
            one.home, message.thread, message.id, not_before=until, why=error.why, doubt=doubt
        )
        if isinstance(error, ChannelAway):
            await self._hold(one, "*" if error.everywhere else place, until, error.why, now)

    def _pause_asked(self, error: Passing, place: str, until: int) -> None:
        """The platform asked us to wait; only with what it asked us to wait with."""
        if error.part == "post":
            self._pacing.block(place, until)
        elif error.part == "edit":
            self._pacing.block_edits(until)

    async def _hold(self, one: _Ready, place: str, until: int, why: str, now: int) -> None:
        known = self._held.get(place)
        self._held[place] = (until, why)
        if known is None or known[1] != why:
            _log.error("%s takes nothing: %s", place, why)
            kind = "everywhere" if place == "*" else "channel"
            await self._tell_of(one, kind, place, why, now)

    async def _tell_of(self, one: _Ready, kind: str, place: str, why: str, now: int) -> None:
        message = one.queued.message
        await self._tell(Trouble(kind, one.home, place, message.thread, message.id, why, now))

    # --- recording --------------------------------------------------------------------

    def _delivered(self, message: Message, channel: str, stamp: str, now: int) -> Delivered:
        return Delivered(
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
        )

    async def _record_dead(self, one: _Ready, error: Exception, now: int) -> None:
        message = one.queued.message
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

    async def _record(self, fact: Delivered | Undeliverable, end: Settle) -> None:
        """Tell the desk, whose commit settles the message. Kept here until it is written."""
        self._unrecorded[fact.id] = (fact, end)
        await self._desk.receive(fact)
        self._unrecorded.pop(fact.id, None)
        self._recorded[fact.id.partition(":")[2]] = end
        while len(self._recorded) > 5000:
            self._recorded.popitem(last=False)

    async def _record_again(self) -> None:
        """What was posted while the store was away. Raises ``StoreError`` when it still is."""
        for fact, end in list(self._unrecorded.values()):
            await self._record(fact, end)

    # --- live -------------------------------------------------------------------------

    async def run(self, clock: Clock, wake: asyncio.Event) -> None:
        """Send until cancelled: at each ``wake``, and every 250 ms; then finish what began."""
        tidied = self._process()
        try:
            while True:
                wake.clear()
                try:
                    await self._start(clock)
                    if self._process() - tidied > self.settings.tidy_after // 4:
                        tidied = self._process()
                        await self.tidy()
                except StoreError as error:
                    _log.warning("the store is away, nothing is sent: %s", error)
                await self._pause(wake)
        finally:
            await self._drain()

    async def _pause(self, wake: asyncio.Event) -> None:
        """Until woken, until a task ends, or for about 250 ms."""
        woken = asyncio.ensure_future(wake.wait())
        try:
            seconds = 0.2 + random.random() / 10  # noqa: S311
            await asyncio.wait(
                {woken, *self._tasks.values()},
                timeout=seconds,
                return_when=asyncio.FIRST_COMPLETED,
            )
        finally:
            woken.cancel()

    async def _drain(self) -> None:
        """Let calls that are under way end, within their deadline."""
        if self._tasks:
            _log.info("waiting for %d messages under way", len(self._tasks))
            await asyncio.wait(set(self._tasks.values()), timeout=self.settings.lease / 1000)

    async def tidy(self, *, force: bool = False) -> int:
        """Take away second copies where something was sent in doubt; how many.

        ``force``: at once, whether or not a late copy may still come (the end of a rehearsal).
        """
        removed = 0
        for home in await self._store.homes():
            removed += await tidy_all(self._tidy, home, self._is_under_way, force=force)
        return removed

    def _is_under_way(self, home: str, thread: str) -> bool:
        return (home, thread) in self._tasks

    @property
    def held(self) -> dict[str, str]:
        """Places that take nothing now, and why; ``*`` is all of them."""
        return {place: why for place, (_, why) in self._held.items()}


def _late(message: Message, now: int) -> bool:
    """Whether it is not worth sending any more. Calls always are."""
    over = message.not_after is not None and message.not_after < now
    return over and message.urgency > ESCALATION


def _dropped(message: Message) -> Settle:
    return Settle(message=message.id, thread=message.thread, state="dropped")


def _sent(fact: Delivered, root: bool) -> Settle:
    return Settle(
        message=fact.message,
        thread=fact.thread,
        state="sent",
        channel=fact.channel,
        stamp=fact.stamp,
        slot=fact.slot,
        rev=fact.rev,
        root=root,
    )


def _ident(message: Message) -> str:
    return f"{message.id}:{message.rev}"


def _order(one: _Ready) -> tuple[int, int, str]:
    message = one.queued.message
    return (message.urgency, message.made_at, message.id)


def _backoff(attempt: int, ident: str) -> int:
    """Wave time to wait before the next attempt: doubling to a minute, spread by the id."""
    spread = zlib.crc32(ident.encode()) % 500
    return int(min(60_000, 1000 * 2 ** min(attempt - 1, 6))) + spread
