"""Rehearsals that kill their bot and its store, and go on: the world here, the bot a child.

Wave time stands still while the bot is dead. What it did not acknowledge comes again: events and
registrations are sent anew, and a person whose press failed looks whether anything came of it
and else presses again.
"""

import asyncio
import contextlib
import os
import signal
import sys
from collections import Counter
from collections.abc import Awaitable, Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Protocol

import aiohttp
import msgspec

from bot.model.board import Board
from bot.plan.rows import SiteRow
from bot.practice import scene
from bot.practice.chatserver import ChatServer, Posted
from bot.practice.chatserver.faults import Fault
from bot.practice.child import Kill, Line, Settle, Settled, Spec, store_process
from bot.practice.clock import WaveClock
from bot.practice.persona import Persona
from bot.practice.registry import Registry
from bot.practice.rehearsal import Rehearsal
from bot.practice.world import World

#: Events of the platform are resent so often, without wave time going on.
RESENT = (0,) * 40
#: Of so many things that people do, one gets a kill.
_PERSONS = 5
_START_SECONDS = 60.0
_SETTLE_SECONDS = 60.0
#: A post that the platform holds back until the bot has looked for it in vain and sent it again.
LATE_SECONDS = 6.0
LATE = "post.late"


class Delivery(Protocol):
    ok: bool


@dataclass
class Death:
    """A kill that happened. ``at`` is wave time (ms), ``extra`` second copies posted since, of
    which ``left`` still stand in the end."""

    kill: Kill
    at: int
    extra: int = 0
    left: int = 0
    doubled: list[str] = field(default_factory=list)


class Keeper:
    """Keeps a bot running in a child process, on a store of its own in ``data``."""

    def __init__(self, data: Path, world: World, clock: WaveClock, kills: Iterator[Kill]) -> None:
        self.data, self.world, self.clock = data, world, clock
        everything = list(kills)
        self._kills = iter([kill for kill in everything if not kill.on])
        self._occasions = {
            on: [kill for kill in everything if kill.on == on] for on in ("registration", "person")
        }
        self._occurred = 0
        self._armed: Kill | None = None
        self._process: asyncio.subprocess.Process | None = None
        self._reading: asyncio.Task[None] | None = None
        self._session: aiohttp.ClientSession | None = None
        self._first: asyncio.Future[Line] | None = None
        self._held: list[tuple[Fault, asyncio.Task[None]]] = []
        self._url = ""
        self.channels: list[str] = []
        self.deaths: list[Death] = []
        self.lives = 0
        self.problems: list[str] = []
        self.passed: Counter[str] = Counter()
        self._passed_now: dict[str, int] = {}
        self.arming: Callable[[], bool] = lambda: False

    # --- lives -------------------------------------------------------------------------

    async def start(self) -> None:
        """A new life. One that does not come about because of a kill is tried again."""
        while True:
            if await self._born():
                return

    async def _born(self) -> bool:
        if self._process is not None:
            await self._process.wait()
        self.lives += 1
        self.passed.update(self._passed_now)
        self._passed_now = {}
        armed = self._armed if self._armed and self._armed.point != LATE else None
        spec = Spec(
            data=str(self.data),
            base_url=f"{self.world.server.base_url}/api/",
            token=self.world.server.api.bot_token,
            channels=self.channels,
            seed=self.lives,
            kill=armed,
        )
        self._process = await asyncio.create_subprocess_exec(
            sys.executable,
            "-m",
            "bot.practice.child",
            msgspec.json.encode(spec).decode(),
            stdin=asyncio.subprocess.PIPE,
            stdout=asyncio.subprocess.PIPE,
            stderr=self._log(),
            start_new_session=True,
        )
        self._first = asyncio.get_running_loop().create_future()
        reading = asyncio.ensure_future(self._read(self._process))
        self._reading = reading
        waited: set[asyncio.Future[Any]] = {self._first, reading}
        await asyncio.wait(waited, timeout=_START_SECONDS, return_when=asyncio.FIRST_COMPLETED)
        if not self._first.done():
            code = await self._process.wait() if reading.done() else None
            if code in (-signal.SIGKILL, 2):
                return False
            raise RuntimeError(f"the bot did not start ({code}); see {self.data}.log")
        line = self._first.result()
        if line.clock is not None and line.clock > self.clock.now():
            self.problems.append(f"the store's clock {line.clock} is ahead of {self.clock.now()}")
        self._url = f"http://127.0.0.1:{line.practice}"
        self.world.connect(f"http://127.0.0.1:{line.port}")
        return True

    def _log(self) -> int:
        path = self.data.with_suffix(".log")
        return os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)

    async def _read(self, process: asyncio.subprocess.Process) -> None:
        assert process.stdout is not None
        async for raw in process.stdout:
            line = msgspec.json.decode(raw, type=Line)
            if line.killed is not None:
                self.deaths.append(Death(line.killed, self.clock.now()))
                if line.killed == self._armed:
                    self._armed = None
            elif self._first is not None and not self._first.done():
                self._first.set_result(line)

    async def revive(self) -> None:
        """Until there is a bot that can take in what comes."""
        give_up = asyncio.get_running_loop().time() + _START_SECONDS
        while True:
            if self._process is None or self._process.returncode is not None:
                await self.start()
            elif await self._ready():
                return
            elif asyncio.get_running_loop().time() > give_up:
                raise RuntimeError("the bot lives but does not get ready")
            await asyncio.sleep(0.02)

    async def _ready(self) -> bool:
        url = f"{self.world.registry.url}/ready"
        with contextlib.suppress(aiohttp.ClientError, TimeoutError, OSError):
            async with self._client().get(url, timeout=aiohttp.ClientTimeout(3)) as answer:
                return answer.status == 200
        return False

    def _client(self) -> aiohttp.ClientSession:
        if self._session is None:
            connector = aiohttp.TCPConnector(force_close=True)
            self._session = aiohttp.ClientSession(trust_env=False, connector=connector)
        return self._session

    async def stop(self) -> None:
        """An orderly end of the bot, and with it of its store."""
        if self._process is not None and self._process.returncode is None:
            self._process.terminate()
            await asyncio.wait_for(self._process.wait(), 30)
        if self._reading is not None:
            await self._reading
        await self._close()

    async def clear_away(self) -> None:
        """End whatever still runs, in whatever state it is."""
        if self._process is not None and self._process.returncode is None:
            self._process.kill()
            await self._process.wait()
        store = store_process(self.data)
        if store:
            os.kill(store, signal.SIGKILL)
        await self._close()

    async def _close(self) -> None:
        for _, task in self._held:
            task.cancel()
        if self._session is not None:
            await self._session.close()
            self._session = None

    # --- kills -------------------------------------------------------------------------

    def _next_kill(self) -> Kill | None:
        """The kill to arm with this instant, when one is due and none is armed."""
        if self._armed is not None or not self.arming():
            return None
        self._armed = next(self._kills, None)
        if self._armed is None or not self._armed.point.startswith("start."):
            if self._armed is not None and self._armed.point == LATE:
                self._hold_a_post(self._armed)
                return None
            return self._armed
        # At the next start; so there has to be one.
        return Kill("bot", "commit.after")

    async def occasion(self, on: str) -> None:
        """A registration is about to be sent, or a person to act: the kill for it is armed."""
        if not self._occasions[on]:
            return
        self._occurred += 1
        if on == "registration" or self._occurred % _PERSONS == 0:
            with contextlib.suppress(aiohttp.ClientError, OSError):
                await self._post("arm", self._occasions[on].pop(0))

    def _hold_a_post(self, kill: Kill) -> None:
        """The platform is slow with a post, and the bot is killed while it waits for it."""
        fault = self.world.server.faults.add("late_before", "chat.postMessage", nth=kill.nth)

        async def when_it_waits() -> None:
            await fault.reached.wait()
            if self._process is not None and self._process.returncode is None:
                self.deaths.append(Death(kill, self.clock.now()))
                self._process.kill()
            self._armed = None
            await self._until_posted_again()
            fault.release()

        self._held.append((fault, asyncio.ensure_future(when_it_waits())))

    async def held_back(self) -> None:
        """Until all posts that were held back have come."""
        for fault, task in self._held:
            if fault.reached.is_set():
                await task
            else:
                task.cancel()
        self._held.clear()
        self.world.server.faults.clear()
        while self.world.server.api.open_calls:  # noqa: ASYNC110 - it counts, and tells nobody
            await asyncio.sleep(0.02)

    async def _until_posted_again(self) -> None:
        """Until a new life has posted something, or it takes too long."""
        calls = self.world.server.calls
        known, loop = len(calls), asyncio.get_running_loop()
        give_up = loop.time() + LATE_SECONDS
        while loop.time() < give_up:
            if any(c.method == "chat.postMessage" and c.done for c in calls[known:]):
                return
            await asyncio.sleep(0.02)

    # --- the bot as a rehearsal sees it ------------------------------------------------

    async def settle(self, now: int) -> int | None:
        kill = self._next_kill()
        while True:
            try:
                found = await self._post("settle", Settle(now, kill))
            except (aiohttp.ClientError, OSError):
                kill = None
                await self.revive()
                continue
            settled = msgspec.json.decode(found, type=Settled)
            self._passed_now = settled.passed
            return settled.ahead

    async def tidy(self) -> int:
        """Second copies removed now."""
        found = await self._post("tidy", None)
        return int(msgspec.json.decode(found)["removed"])

    async def _post(self, what: str, body: msgspec.Struct | None) -> bytes:
        timeout = aiohttp.ClientTimeout(total=_SETTLE_SECONDS)
        async with self._client().post(
            f"{self._url}/practice/{what}", data=msgspec.json.encode(body), timeout=timeout
        ) as answer:
            if answer.status != 200:
                raise RuntimeError(f"/practice/{what} gave {answer.status}; see {self.data}.log")
            return await answer.read()

    async def board(self, now: int) -> Board:
        raise NotImplementedError("figures are read from the store")

    async def counters(self) -> dict[str, int]:
        raise NotImplementedError("figures are read from the store")


class PatientRegistry(Registry):
    """Sends a registration again until it is taken, while wave time stands still."""

    def __init__(self) -> None:
        super().__init__("")
        self.keeper: Keeper | None = None
        self.accepted: list[str] = []

    async def registered(self, serial: str, at: int) -> bool:
        assert self.keeper is not None
        await self.keeper.occasion("registration")
        taken = await super().registered(serial, at)
        while not taken:
            await self.keeper.revive()
            taken = await self.send_waiting()
        return taken

    async def send_waiting(self) -> bool:
        before = list(self.waiting)
        done = await super().send_waiting()
        self.accepted += [event for event in before if event not in self.waiting]
        return done


class PatientPeople:
    """People in the chat who do not give up, and look before they press again."""

    def __init__(self, server: ChatServer) -> None:
        self._server = server
        server.sender.retry_after = RESENT
        self.keeper: Keeper | None = None
        self.pressed_again = 0
        self._known: set[str] = set()
        self._fresh: set[tuple[str, str]] = set()
        server.on_post.append(self._posted)

    def _posted(self, posted: Posted) -> None:
        mark = posted.message.get("metadata", {}).get("event_payload", {})
        ident = f"{mark.get('id')}/{mark.get('rev')}"
        if posted.kind not in ("posted", "updated") or ident in self._known:
            return
        self._known.add(ident)
        root = str(posted.message.get("thread_ts") or posted.message["ts"])
        self._fresh.add((posted.channel, root))

    async def say(self, user: str, channel: str, text: str, *, thread_ts: str) -> object:
        assert self.keeper is not None
        await self.keeper.occasion("person")
        stamp = await self._server.say(user, channel, text, thread_ts=thread_ts)
        await self._resend()
        return stamp

    async def _resend(self) -> None:
        """What was not acknowledged comes again; wave time stands still meanwhile."""
        assert self.keeper is not None
        sender, now = self._server.sender, self._server.clock()
        while (due := sender.next_due()) is not None and due <= now:
            await self.keeper.revive()
            await sender.deliver_due(now)

    async def press(self, user: str, channel: str, ts: str, action_id: str) -> object:
        message = self._server.workspace.channels[channel].messages[ts]
        place = (channel, str(message.get("thread_ts") or ts))
        return await self._until_it_works(
            {place}, lambda: self._server.press(user, channel, ts, action_id)
        )

    async def command(self, user: str, channel: str, command: str, text: str) -> object:
        """What comes of a command shows at the channel's root, in a thread of its own."""
        return await self._until_it_works(
            None, lambda: self._server.command(user, channel, command, text)
        )

    async def _until_it_works(
        self, places: set[tuple[str, str]] | None, do: Callable[[], Awaitable[Delivery]]
    ) -> object:
        assert self.keeper is not None
        self._fresh.clear()
        await self.keeper.occasion("person")
        while True:
            done = await do()
            if done.ok:
                return done
            await self.keeper.revive()
            await self.keeper.settle(self._server.clock())
            await self._resend()
            if self._fresh if places is None else self._fresh & places:
                return done
            self.pressed_again += 1


@dataclass
class Ended:
    """What is left of a rehearsal when bot and world have come to rest."""

    world: World
    deaths: list[Death]
    lives: int
    pressed_again: int
    removed: int
    accepted: list[str]
    passed: Counter[str]
    instants: int
    problems: list[str] = field(default_factory=list)
    posted: Counter[str] = field(default_factory=Counter)


class Setting(msgspec.Struct, frozen=True, kw_only=True):
    """A rehearsal to be disturbed. ``every``: a kill is armed each so many instants."""

    rows: list[SiteRow]
    seed: int
    personas: dict[str, Persona]
    strangers: tuple[str, ...] = ()  # serials nobody expects, which register all the same


class Killing:
    """One rehearsal with kills. ``go_live`` imports the wave, as a command beside the bot does."""

    def __init__(
        self, setting: Setting, data: Path, kills: list[Kill], spread: Callable[[int], bool]
    ) -> None:
        self.setting = setting
        self.clock = WaveClock(scene.begins_at(setting.rows))
        self.registry = PatientRegistry()
        self.world = World(
            setting.rows,
            setting.seed,
            self.clock,
            setting.personas,
            registry=self.registry,
            through=PatientPeople,
        )
        assert isinstance(self.world.chat, PatientPeople)
        self.people = self.world.chat
        self.keeper = Keeper(data, self.world, self.clock, iter(kills))
        self.keeper.arming = lambda: spread(self.instants)
        self.people.keeper = self.registry.keeper = self.keeper
        self.instants = 0
        self.posted: Counter[str] = Counter()
        self.world.seen.append(self._count)

    def _count(self, posted: Posted) -> None:
        mark = posted.message.get("metadata", {}).get("event_payload", {})
        if posted.kind != "posted" or not mark.get("thread"):
            return  # of a person, or the fixed answer to danger, which may be repeated
        key = f"{mark['id']}/{mark.get('rev', 0)}"
        self.posted[key] += 1
        if self.posted[key] > 1 and self.keeper.deaths:
            self.keeper.deaths[-1].extra += 1
            self.keeper.deaths[-1].doubled.append(key)

    def _standing(self) -> Counter[str]:
        """How many copies of each message stand in the chat."""
        found: Counter[str] = Counter()
        for channel in self.world.server.workspace.channels.values():
            for message in channel.messages.values():
                mark = message.get("metadata", {}).get("event_payload", {})
                found[f"{mark.get('id')}/{mark.get('rev', 0)}"] += 1
        return found

    async def run(self, go_live: "GoLive", judge: "Judge") -> Ended:
        """To the end of the wave; ``judge`` reads the store before it ends."""
        self.keeper.channels = await self.world.start()
        self.world.server.limits.on = False  # pacing does not bind, see ``child``
        try:
            await self.keeper.start()
            await go_live(self.keeper.data, self.setting.rows, self.keeper.channels, self.clock)
            for serial in self.setting.strangers:
                self._registers(serial)
            rehearsal = Rehearsal(
                self.world, self.clock, self.keeper, speed=0, on_step=self._stepped
            )
            await rehearsal.run()
            await self._rest()
            removed = await self.keeper.tidy()
            await self.world.server.settle()
            ended = self._ended(removed)
            await judge(self.keeper.data, ended)
            await self.keeper.stop()
        finally:
            await self.keeper.clear_away()
            await self.world.stop()
        return ended

    async def _rest(self) -> None:
        """Until posts that the platform held back have come too."""
        await self.keeper.held_back()
        await self.keeper.revive()
        await self.keeper.settle(self.clock.now())
        await self.world.server.settle()

    def _registers(self, serial: str) -> None:
        async def register() -> None:
            await self.registry.registered(serial, self.clock.now())

        self.world.agenda.add(self.clock.now() + 45 * 60_000, serial, register)

    def _stepped(self, _now: int) -> None:
        self.instants += 1

    def _ended(self, removed: int) -> Ended:
        keeper = self.keeper
        standing = self._standing()
        for death in keeper.deaths:
            death.left = sum(1 for key in set(death.doubled) if standing[key] > 1)
        return Ended(
            world=self.world,
            deaths=keeper.deaths,
            lives=keeper.lives,
            pressed_again=self.people.pressed_again,
            removed=removed,
            accepted=self.registry.accepted,
            passed=keeper.passed + Counter(keeper._passed_now),
            instants=self.instants,
            problems=list(keeper.problems),
            posted=self.posted,
        )


class GoLive(Protocol):
    async def __call__(
        self, data: Path, rows: list[SiteRow], channels: list[str], clock: WaveClock
    ) -> None: ...


class Judge(Protocol):
    async def __call__(self, data: Path, ended: Ended) -> None: ...
