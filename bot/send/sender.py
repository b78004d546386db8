"""The sender: takes what is ready out of the outbox and sees it delivered, one copy of each.

Wave time decides when something may go (pacing, retries); process time only how long a claim
lasts. A claim's lease is at least twice the deadline of a call, so that a lease that ran out
means a call that has ended.
"""

import asyncio
import logging
import random
import time
from collections import deque
from collections.abc import Callable, Coroutine
from dataclasses import dataclass
from functools import partial
from typing import Any

from bot.model.message import ESCALATION, Message
from bot.send.again import backoff, late
from bot.send.chat import ChatOut, Posted
from bot.send.deliver import Deliver, Hooks, Job, recorded
from bot.send.errors import (
    ChannelAway,
    InDoubt,
    MessageRefused,
    Passing,
    PersonAway,
    SendError,
    TooLate,
)
from bot.send.holds import EVERYWHERE, Holds
from bot.send.leases import ChannelLeases
from bot.send.mail import MailOut
from bot.send.pacing import Pacing
from bot.send.pages import PageLinks
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
from bot.send.recording import Recorder
from bot.send.relay import Relay
from bot.send.tidy import Tidy, tidy_all
from bot.speak.catalogue import Catalogue
from bot.store import probe as probes
from bot.store.commit import Settle
from bot.store.errors import StoreAway, StoreError, StoreRefused
from bot.store.outbox import Claimed, Queued, Thread

_log = logging.getLogger("musterline.send")
Clock = Callable[[], int]
Key = tuple[str, str]  # home, thread
LOOK = 0.25  # seconds of process time after which the outbox is read again unasked
_RELAY = "relay"  # the thread of what a home tells itself
_INWARD = frozenset({"fact", "index"})  # ways that need no chat, so that a slow one delays none


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
    parallel_hooks: int = 8  # and these for webhooks: a slow gateway delays nothing else
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


async def _nobody(trouble: Trouble) -> None:
    """Where nobody is to be told, the log has it."""


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
        links: PageLinks | None = None,
        hooks: Hooks | None = None,
        pacing: Pacing | None = None,
        leases: ChannelLeases | None = None,
        tell: Tell = _nobody,
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
        self._store, self._places, self._process = store, places, process
        self._pacing, self._leases = pacing or Pacing(), leases
        self._deliver = Deliver(
            store, chat, catalogue, people, mail, probe, links=links, hooks=hooks
        )
        self._recorder, self._holds = Recorder(desk), Holds(tell)
        self._relay = Relay(store, index, desk, probe)
        self._tidy = Tidy(store, chat, after=self.settings.tidy_after, process=process)
        self._backlog: deque[tuple[str, Queued]] = deque()
        self._tasks: dict[Key, asyncio.Task[int]] = {}
        self._inward: set[Key] = set()  # of these, the ones that take no slot
        self._hooked: set[Key] = set()  # and those that have slots of their own
        self._tidying: asyncio.Task[int] | None = None
        self._sent = 0  # in this pass
        self._wrong: BaseException | None = None  # the first task of this pass that failed
        self._ended_unsent = 0  # in this pass, so that there may be more to read
        self._deferred: dict[Key, int] = {}  # until a wave time
        self._rest: dict[Key, int] = {}  # until a process time
        self._doubtful: dict[Key, int] = {}  # until a process time

    # --- one pass ---------------------------------------------------------------------

    async def run_once(self, now: int) -> Swept:
        """Send what is ready at wave time ``now`` and wait for its end. Raises ``StoreError``."""
        self._sent, self._wrong = 0, None
        await self._read(now)
        await self._fill(lambda: now)
        while self._tasks:
            await asyncio.wait(set(self._tasks.values()), return_when=asyncio.FIRST_COMPLETED)
            await self._fill(lambda: now)
        if self._wrong is not None:
            raise self._wrong
        return await self._swept(self._sent, now)

    async def _swept(self, sent: int, now: int) -> Swept:
        homes = await self._store.homes()
        idle = all([await self._store.idle(home) for home in homes])
        times = [at for at in self._deferred.values() if at > now] + self._holds.next_at(now)
        for home in homes:
            at = await self._store.next_retry(home)
            if at is not None and at > now:
                times.append(at)
        next_at = min(times, default=None)
        process = self._process()
        resting = any(at > process for at in (*self._doubtful.values(), *self._rest.values()))
        waiting = resting or self._recorder.waiting > 0 or self._ended_unsent > 0
        return Swept(sent, next_at, sent > 0 or waiting or (not idle and next_at is None))

    async def _read(self, now: int) -> None:
        """Read what may go now, the most urgent first."""
        refused = await self._recorder.again()
        self._wrong = self._wrong or refused
        process = self._process()
        self._rest = {key: at for key, at in self._rest.items() if at > process}
        self._deferred = {key: at for key, at in self._deferred.items() if at > now}
        old = process - self.settings.lease
        self._doubtful = {key: at for key, at in self._doubtful.items() if at > old}
        self._ended_unsent = 0
        homes = await self._store.homes()
        many = await asyncio.gather(*(self._ready(home, now, process) for home in homes))
        found = [(home, queued) for home, some in zip(homes, many, strict=True) for queued in some]
        self._backlog = deque(sorted(found, key=_order))

    async def _ready(self, home: str, now: int, process: int) -> list[Queued]:
        """Heads of one home that may go; what is refused there holds up no other home."""
        unread: dict[str, StoreRefused] = {}
        try:
            found = await self._store.ready(
                home,
                self.settings.look_at,
                wave=now,
                process=process,
                wanted=partial(self._free_thread, home),
                always=_RELAY,
                unread=unread.__setitem__,
            )
        except StoreRefused as error:
            found, unread = [], {"": error}
        for thread, why in unread.items():
            self._wrong = self._wrong or why
            await self._holds.stuck(home, thread, str(why), now)
        return found

    async def _fill(self, clock: Clock) -> None:
        """Start tasks for what was read, as many as there is room for."""
        waiting = 0
        while self._backlog and not self._full(self._backlog[0][1].message):
            home, queued = self._backlog.popleft()
            key = home, queued.message.thread
            if not self._free(key):
                continue
            hooks_full = len(self._hooked) >= self.settings.parallel_hooks
            if queued.message.way == "webhook" and hooks_full:
                self._rest[key] = self._process() + 250
            elif until := self._paced_until(queued, clock(), waiting):
                self._deferred[key] = until
                waiting += 1
            else:
                await self._begin(home, queued, clock)

    async def _begin(self, home: str, queued: Queued, clock: Clock) -> None:
        """Start one; where the store refuses it, the others go on."""
        key = home, queued.message.thread
        try:
            info = await self._store.thread_info(*key)
            await self._start_one(_Ready(home, queued, info), clock)
        except StoreRefused as error:
            self._wrong = self._wrong or error
            self._rest[key] = self._process() + 1000
            _log.error("sending to %s of %s was refused: %s", key[1], key[0], error)

    def _paced_until(self, queued: Queued, now: int, ahead: int) -> int:
        """When to look at it again, known without reading anything of it; 0: it has to be read.

        With the workspace at its limit hundreds wait, of which each moment lets one go. What may
        be out there already, is edited in place or is a call is always looked at.
        """
        message = queued.message
        plain = message.way == "chat" and not message.slot and message.urgency > ESCALATION
        if not plain or queued.state == "sending":
            return 0
        return self._pacing.full_until(now, ahead)

    def _full(self, message: Message) -> bool:
        if message.way in _INWARD or message.way == "webhook":
            return False
        kept = self.settings.parallel_calls if message.urgency <= ESCALATION else 0
        others = len(self._inward) + len(self._hooked)
        return len(self._tasks) - others >= self.settings.parallel + kept

    def _free_thread(self, home: str, thread: str) -> bool:
        return self._free((home, thread))

    def _free(self, key: Key) -> bool:
        return not (key in self._tasks or key in self._deferred or key in self._rest)

    async def _start_one(self, one: _Ready, clock: Clock) -> None:
        message, now = one.queued.message, clock()
        if message.way in _INWARD:
            self._inward.add(one.key)
            self._spawn(one, self._relay.run(one.home, message.thread))
        elif (ended := self._ended(one, now)) is not None:
            await self._store.settle(one.home, (ended,))
            self._ended_unsent += 1
        elif message.way == "page":
            self._spawn(one, self._put_on_page(one))
        elif self._in_doubt_still(one):
            return
        elif message.way in ("mail", "webhook"):
            if message.way == "webhook":
                self._hooked.add(one.key)
            self._spawn(one, self._send(one, message.way, clock))
        elif place := await self._free_place(one, now):
            self._spawn(one, self._send(one, place, clock))

    async def _free_place(self, one: _Ready, now: int) -> str:
        """Where the message goes; empty when it has to wait."""
        message = one.queued.message
        try:
            place = await self._place(one)
        except LookupError as error:
            self._deferred[one.key] = now + self.settings.hold
            nowhere = f"{one.home}/{message.thread}"
            await self._holds.hold(nowhere, 0, str(error), one.home, message, now)
            return ""
        if self._leases is not None and not await self._leases.held(place):
            self._rest[one.key] = self._process() + 1000
            return ""
        wait = await self._must_wait(one, place, now)
        if wait:
            self._deferred[one.key] = wait
            return ""
        return place

    def _spawn(self, one: _Ready, work: Coroutine[Any, Any, int]) -> None:
        task = asyncio.get_running_loop().create_task(work)
        self._tasks[one.key] = task
        task.add_done_callback(lambda done: self._task_ended(one.key, done))

    def _task_ended(self, key: Key, task: "asyncio.Task[int]") -> None:
        self._tasks.pop(key, None)
        self._inward.discard(key)
        self._hooked.discard(key)
        if task.cancelled():
            return
        error = task.exception()
        if error is None:
            self._sent += task.result()
        else:
            self._wrong = self._wrong or error
            self._rest[key] = self._process() + 250
            _log.error("sending to %s of %s did not end well: %r", key[1], key[0], error)

    def _ended(self, one: _Ready, now: int) -> Settle | None:
        """How the message ends without being sent: recorded before, too late, or overtaken."""
        message = one.queued.message
        if (known := self._recorder.known(message)) is not None:
            return known
        if one.queued.state == "sending":
            return None  # it may be out there: look first
        newer = message.slot and one.info.slots.get(message.slot, ("", -1))[1] > message.rev
        if not late(message, now) and not newer:
            return None
        return _dropped(message)

    def _in_doubt_still(self, one: _Ready) -> bool:
        """Whether an earlier attempt may still be on its way to the other side."""
        process = self._process()
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
        held = self._holds.until(place, now)
        if held:
            return held
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
            posted = await self._out(one, place, doubt, clock)
        except (MessageRefused, PersonAway) as error:
            await self._recorder.dead(message, error, clock())
            await self._tell(one, "message", place, error.why, clock())
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
                await self._recorder.dead(message, error, clock())
            else:
                wrong = Passing(repr(error))
                await self._later(one, place, claimed.attempt, True, wrong, clock)
            await self._tell(one, "bug", place, repr(error), clock())
            return 0
        if message.way == "chat":
            self._holds.clear(place)
        await self._recorder.delivered(message, posted.channel, posted.stamp, clock())
        return 1

    async def _put_on_page(self, one: _Ready) -> int:
        """Let it stand on the contact's page. Twice is once, so it needs no claim.

        It counts as delivered when the page has shown it, and not before (handlers.page).
        """
        message = one.queued.message
        await self._store.page_put(one.home, message.thread.partition(":")[2], message)
        await self._store.settle(one.home, (_on_page(message),))
        return 1

    async def _out(self, one: _Ready, place: str, doubt: bool, clock: Clock) -> Posted:
        message = one.queued.message
        if message.way == "mail":
            return Posted("", await self._deliver.mail(message))
        if message.way == "webhook":
            return Posted("", await self._deliver.webhook(message))

        async def renew() -> None:
            until = self._process() + self.settings.lease
            await self._store.extend(one.home, message.thread, until)

        job = Job(one.home, message, place, one.info, doubt, late(message, clock()))
        posted, unpinned = await self._deliver.chat(job, renew)
        if unpinned:
            await self._tell(one, "pin", place, unpinned, clock())
        return posted

    async def _tell(self, one: _Ready, kind: str, place: str, why: str, now: int) -> None:
        await self._holds.tell(kind, place, why, one.home, one.queued.message, now)

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
        until = now + backoff(attempt, message.id)
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
            held = EVERYWHERE if error.everywhere else place
            await self._holds.hold(held, until, error.why, one.home, message, now)

    def _pause_asked(self, error: Passing, place: str, until: int) -> None:
        """The platform asked us to wait; only with what it asked us to wait with."""
        if error.part == "post":
            self._pacing.block(place, until)
        elif error.part == "edit":
            self._pacing.block_edits(until)

    # --- live -------------------------------------------------------------------------

    async def run(self, clock: Clock, wake: asyncio.Event) -> None:
        """Send until cancelled: at each ``wake``, and every 250 ms; then finish what began."""
        read_at, tidied = 0.0, self._process()
        try:
            while True:
                try:
                    if wake.is_set() or not self._backlog or time.monotonic() - read_at > LOOK:
                        wake.clear()
                        read_at = time.monotonic()
                        await self._read(clock())
                    await self._fill(clock)
                    tidied = self._tidy_in_between(tidied)
                except StoreAway as error:
                    self._backlog.clear()
                    _log.warning("the store is away, nothing is sent: %s", error)
                except StoreRefused as error:
                    self._backlog.clear()
                    _log.error("the store refuses, nothing is sent: %s", error)
                await self._pause(wake)
        finally:
            await self._drain()

    async def _pause(self, wake: asyncio.Event) -> None:
        """Until woken, until a task ends, or for about 250 ms."""
        woken = asyncio.ensure_future(wake.wait())
        try:
            await asyncio.wait(
                {woken, *self._tasks.values()},
                timeout=LOOK - 0.05 + random.random() / 10,  # noqa: S311
                return_when=asyncio.FIRST_COMPLETED,
            )
        finally:
            woken.cancel()

    def _tidy_in_between(self, last: int) -> int:
        """Start tidying up now and then, beside the sending; when it was started last."""
        now = self._process()
        if now - last < self.settings.tidy_after // 4 or self._tidying is not None:
            return last
        self._tidying = asyncio.get_running_loop().create_task(self.tidy())
        self._tidying.add_done_callback(self._tidied)
        return now

    def _tidied(self, task: "asyncio.Task[int]") -> None:
        self._tidying = None
        if not task.cancelled() and (error := task.exception()) is not None:
            _log.warning("second copies could not be looked for: %r", error)

    async def _drain(self) -> None:
        """Let calls that are under way end, within their deadline."""
        self._backlog.clear()
        tasks: set[asyncio.Task[int]] = set(self._tasks.values())
        if self._tidying is not None:
            tasks.add(self._tidying)
        if tasks:
            _log.info("waiting for %d calls under way", len(tasks))
            await asyncio.wait(tasks, timeout=self.settings.lease / 1000)
        try:
            await self._recorder.again()
        except StoreError as error:
            _log.warning("what was sent last is not recorded; it will be looked for: %s", error)

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
        return self._holds.places


def _dropped(message: Message) -> Settle:
    return Settle(message=message.id, thread=message.thread, state="dropped")


def _on_page(message: Message) -> Settle:
    return Settle(
        message=message.id,
        thread=message.thread,
        state="sent",
        channel="page",
        stamp=message.id,
        root=True,  # there is no message that opens a page, and none that a stop has to spare
    )


def _order(one: tuple[str, Queued]) -> tuple[bool, int, int, str]:
    """What is for ourselves first: danger heard at one site holds the wave by such a fact."""
    message = one[1].message
    return (message.way not in _INWARD, message.urgency, message.made_at, message.id)
