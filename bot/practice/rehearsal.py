"""A rehearsal: the whole bot on real parts against a simulated world, on a clock of its own.

Wave time steps to the next instant only when no fact, commit or send is pending; ``speed`` only
throttles the steps, so a seed gives the same run at any speed.
"""

import asyncio
import contextlib
import time
from collections import Counter
from collections.abc import Callable, Iterator
from typing import Protocol

import msgspec

from bot.model.board import Board
from bot.model.policy import MINUTE
from bot.practice.clock import WaveClock
from bot.practice.scene import SOURCE
from bot.practice.world import World

#: Idle stretches are not waited out: at most this many minutes of wave time are.
_LONGEST_WAIT = 2 * MINUTE
#: The ids of facts made of registrations begin so, and end in the id of the event.
_REGISTRATION = f"reg:{SOURCE}:"
_LONGEST_RUN = 48 * 60 * MINUTE


class Figures(msgspec.Struct, frozen=True, kw_only=True):
    """The final figures of a rehearsal."""

    units: int
    online: int
    escalated: int
    held: int
    nudges: int
    messages_sent: int
    messages_doubled: int
    events_lost: int
    wall_seconds: float
    wave_minutes: float
    registrations: int
    visits: dict[str, int]
    seed: int


class Pace:
    """How long to wait between two instants, so that so many minutes pass in each minute.

    What the work itself took is not waited for again. ``speed`` 0: never wait.
    """

    def __init__(self, speed: float) -> None:
        self._speed = speed
        self._due: float | None = None  # process time, s

    def seconds(self, wave_ms: int, now: float) -> float:
        """Seconds to wait before wave time steps on by ``wave_ms``; ``now`` is process time."""
        if self._speed <= 0:
            return 0.0
        before = now if self._due is None else self._due
        self._due = before + min(wave_ms, _LONGEST_WAIT) / 1000 / self._speed
        if self._due < now:  # the work takes longer than the pace allows: no haste afterwards
            self._due = now
        return self._due - now


class BotUnderTest(Protocol):
    """The bot as a rehearsal sees it, in this process or in another."""

    async def settle(self, now: int) -> int | None:
        """Do all there is to do at ``now``; gives the next instant of its own."""

    async def board(self, now: int) -> Board: ...
    async def counters(self) -> dict[str, int]: ...


class Rehearsal:
    """Runs the world and the bot in step. ``on_step`` is called after each instant."""

    def __init__(
        self,
        world: World,
        clock: WaveClock,
        bot: BotUnderTest,
        *,
        speed: float,
        on_step: Callable[[int], None] = lambda _now: None,
    ) -> None:
        self.world, self.clock, self.bot = world, clock, bot
        self.speed, self.on_step = speed, on_step
        self.began = clock.now()
        self._pace = Pace(speed)
        self._ended = asyncio.Event()

    @property
    def stopped(self) -> bool:
        return self._ended.is_set()

    def stop(self) -> None:
        """End after the instant that is being played, without waiting for the next."""
        self._ended.set()

    async def run(self) -> None:
        """To the end: nothing is left to happen, or the wave is closed and people are quiet."""
        while not self.stopped:
            ahead = await self.instant()
            self.on_step(self.clock.now())
            if ahead is None or ahead - self.began > _LONGEST_RUN:
                return
            await self._wait(ahead - self.clock.now())
            if not self.stopped:
                self.clock.move(ahead)

    async def instant(self) -> int | None:
        """All that happens at this instant; gives the next instant at which anything does."""
        now = self.clock.now()
        while True:
            ahead = await self.bot.settle(now)
            await self.world.server.settle()
            done = await self.world.agenda.run(now)
            await self.world.server.settle()
            resent = await self.world.server.deliver_due(now)
            if not done and not resent:
                break
        times = (ahead, self.world.agenda.next_at(), self.world.server.next_due())
        return min((t for t in times if t is not None), default=None)

    async def _wait(self, wave_ms: int) -> None:
        seconds = self._pace.seconds(wave_ms, time.monotonic())
        if seconds > 0:
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(self._ended.wait(), seconds)

    async def figures(self, wall: float, traces: set[str]) -> Figures:
        """Counted from the store and from what really stands in the chat.

        ``wall`` is when the run began (process time, s); ``traces`` the ids of all facts in the
        journal.
        """
        board = await self.bot.board(self.clock.now())
        counters = await self.bot.counters()
        return Figures(
            units=board.units,
            online=board.online,
            escalated=board.escalated,
            held=board.held,
            nudges=board.nudges,
            messages_sent=counters.get("sent", 0),
            messages_doubled=doubled(self.world),
            events_lost=lost(self.world, traces),
            wall_seconds=round(time.monotonic() - wall, 2),
            wave_minutes=round((self.clock.now() - self.began) / MINUTE, 1),
            registrations=self.world.registry.taken,
            visits=board.states,
            seed=self.world.seed,
        )


def doubled(world: World) -> int:
    """Messages of which more than one copy stands in the chat, counted there.

    The fixed answer to danger is left out: it is the one message that may rightly come again.
    """
    copies: Counter[str] = Counter()
    for channel in world.server.workspace.channels.values():
        for message in channel.messages.values():
            mark = message.get("metadata", {}).get("event_payload", {})
            if mark.get("id") and not str(mark["id"]).startswith("danger:"):
                copies[_copy_key(mark)] += 1
    return sum(count - 1 for count in copies.values())


def _copy_key(mark: dict[str, str]) -> str:
    """What two copies have in common: the id, or for what is edited in place, its place."""
    slot = mark.get("slot")
    return f"{mark.get('thread')}/{slot}" if slot else mark["id"]


def lost(world: World, traces: set[str]) -> int:
    """Events that did not get in although they should have; 0 when all is well.

    Counted are registrations and words that the bot acknowledged and of which the journal holds
    no trace (a repeated registration needs none: the unit's first is its trace), registrations
    it never took, and events that the platform gave up sending.
    """
    events = {trace.rpartition(":")[2] for trace in traces if trace.startswith(_REGISTRATION)}
    held = {serial for event, serial in world.registry.answered if event in events}
    unheard = sum(serial not in held for _, serial in world.registry.answered)
    unread = sum(fact not in traces for fact in _words(world))
    return unheard + unread + len(world.registry.waiting) + len(world.server.sender.lost)


def _words(world: World) -> Iterator[str]:
    """Ids of the facts that words of people in a thread become, once acknowledged."""
    for delivery in world.server.deliveries:
        event = delivery.payload.get("event", {})
        if delivery.kind != "event" or not delivery.ok or event.get("type") != "message":
            continue
        if event.get("thread_ts") and not (event.get("bot_id") or event.get("subtype")):
            yield f"chat:{delivery.payload['team_id']}:{event['channel']}:{event['ts']}"
