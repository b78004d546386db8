"""A bot that lives: sweeps, sends, marks that it is alive, notices gaps, ends in order."""

import asyncio
import contextlib
import logging
import signal
import time
from collections.abc import Awaitable, Callable
from datetime import UTC, datetime, timedelta
from typing import Literal

import msgspec
from apscheduler.schedulers.asyncio import AsyncIOScheduler
from msgspec.structs import replace

from bot.app import Bot
from bot.desk import anchors
from bot.jumps import Jumps
from bot.model.fact import Gap
from bot.model.subject import EVERY, of_visit, of_wave
from bot.settings import Settings
from bot.store.commit import Commit
from bot.store.embedded import free_space_note
from bot.store.errors import PartRefused, StoreError

SWEEP_SECONDS = 0.25
SWEEP_PATIENCE = 1.0  # then what became due meanwhile is looked at, calls first
ALIVE_SECONDS = 5
CHAT_SECONDS = 20
#: Away for less than this is a restart nobody has to hear of; the platform resends meanwhile.
SHORTEST_GAP = 60_000
WATCHDOG_SECONDS = 2.0
#: What APScheduler would otherwise do: run a job once for each time it was missed, drop what is
#: a second late, and start none while one still runs.
JOB_DEFAULTS = {"coalesce": True, "misfire_grace_time": None, "max_instances": 1}
_NOTE = "gaps"
_CHAT_NOTE = "chat_away"
_log = logging.getLogger("musterline")
Why = Literal["bot", "store", "chat"]


class Away(msgspec.Struct, frozen=True):
    """Time in which we, the store or the chat were away; wave time, ms."""

    since: int
    until: int
    why: Why


class Live:
    """Runs a bot until it is told to end.

    ``monotonic`` gives process time in seconds, ``sleep`` lets some pass between two calls of
    the reading back.
    """

    def __init__(
        self,
        settings: Settings,
        bot: Bot,
        *,
        monotonic: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], Awaitable[None]] = asyncio.sleep,
    ) -> None:
        self._sleep = sleep
        self.settings, self.bot, self.monotonic = settings, bot, monotonic
        self.wake = asyncio.Event()
        self.ending = asyncio.Event()
        self._swept = monotonic()
        self._store_since: int | None = None
        self._chat_since: int | None = None
        self._chat_noted: int | None = None  # what of it is written down
        self._space_told = ""  # the day
        self._jumps = Jumps(bot.now(), monotonic())
        self._reading: asyncio.Task[None] | None = None
        self._error: BaseException | None = None

    async def run(self) -> None:
        loop = asyncio.get_running_loop()
        for name in (signal.SIGTERM, signal.SIGINT):
            with contextlib.suppress(NotImplementedError):
                loop.add_signal_handler(name, self.ending.set)
        try:
            await self.bot.start()
            await self._serve()
        finally:
            await self.bot.stop()

    async def _serve(self) -> None:
        self.bot.desk.on_commit.append(self._committed)
        await self.catch_up()
        await self.bot.look_at_people()
        scheduler = self.scheduler()
        scheduler.start()
        tasks = [
            asyncio.create_task(self.bot.sender.run(self.bot.now, self.wake)),
            asyncio.create_task(self._watch()),
        ]
        _log.info("serving on %s:%s", self.settings.serve.host, self.bot.port)
        try:
            await self._until_the_end(tasks)
        finally:
            _log.info("ending: what was accepted is finished first")
            scheduler.shutdown(wait=False)
            await self._end(tasks)

    async def _until_the_end(self, tasks: list[asyncio.Task[None]]) -> None:
        """Until we are told to end, or a part that must not end has failed."""
        told = asyncio.create_task(self.ending.wait())
        await asyncio.wait({told, *tasks}, return_when=asyncio.FIRST_COMPLETED)
        told.cancel()
        if self._error is not None:
            raise self._error
        for task in tasks:
            if task.done() and (error := task.exception()) is not None:
                raise error

    def _committed(self, commit: Commit) -> None:
        if commit.outbox:
            self.wake.set()

    def scheduler(self) -> AsyncIOScheduler:
        """Recurring jobs, harmless on every replica. What happens once is a deadline."""
        scheduler = AsyncIOScheduler(job_defaults=JOB_DEFAULTS)
        scheduler.add_job(self.sweep, "interval", seconds=SWEEP_SECONDS, jitter=0.05)
        scheduler.add_job(self._alive, "interval", seconds=ALIVE_SECONDS)
        scheduler.add_job(self.look_at_chat, "interval", seconds=CHAT_SECONDS)
        first = datetime.now(UTC) + timedelta(minutes=1)  # when everything has started
        scheduler.add_job(self.housekeep, "interval", hours=1, next_run_time=first)
        return scheduler

    # --- recurring -------------------------------------------------------------------------

    async def sweep(self) -> None:
        """Bring in what is due, unless the clock cannot be believed just now."""
        if await self._clock_jumped():
            return
        try:
            if self._store_since is not None:  # before anything falls due
                await self.bot.store.homes()
                await self._store_back()
            await self.bot.sweep.run(self.bot.now(), patience=SWEEP_PATIENCE)
        except PartRefused as error:  # the store is there, so this is no gap
            _log.error("%s", error)
            self._swept = self.monotonic()
        except StoreError as error:
            self._store_away(error)
        else:
            self._swept = self.monotonic()

    async def _watch(self) -> None:
        """The scheduler counts by the wall clock; when that is set back, sweep all the same."""
        while True:
            await asyncio.sleep(WATCHDOG_SECONDS / 4)
            await self.look_at_sweep()

    async def look_at_sweep(self) -> bool:
        """Sweep if none was seen for two seconds of process time; whether it had to."""
        if self.monotonic() - self._swept <= WATCHDOG_SECONDS:
            return False
        self._swept = self.monotonic()
        await self.sweep()
        return True

    async def _alive(self) -> None:
        if self._store_since is None and not self._jumps.waiting:
            with contextlib.suppress(StoreError):
                await self.bot.store.alive_mark(self.bot.now())

    async def look_at_chat(self) -> None:
        """While the chat does not answer, nobody can be heard: the times of visits stand.

        In socket mode nobody is heard without a websocket either.
        """
        sockets = self.bot.sockets
        if await self.bot.chat_answers() and (sockets is None or sockets.connected):
            since, self._chat_since = self._chat_since, None
            if since is not None:
                await self._back(since, "chat")
            await self._note_chat()
            return
        if self._chat_since is None:
            self._chat_since = self.bot.now()
        await self._note_chat()
        if self.bot.now() - self._chat_since >= SHORTEST_GAP:
            self.bot.sweep.standing = True

    async def _note_chat(self) -> None:
        """Write down since when it is away, for a restart meanwhile; else at the next look."""
        since = self._chat_since
        if self._chat_noted == since:
            return
        note = b"" if since is None else msgspec.json.encode(since)
        try:
            await self.bot.store.note_put(_CHAT_NOTE, note)
        except StoreError as error:
            _log.warning("what is known of the chat cannot be written down: %s", error)
        else:
            self._chat_noted = since

    async def housekeep(self) -> None:
        """Once a day: the anchor of the day, and a word about a disk that is nearly full."""
        day = datetime.fromtimestamp(self.bot.now() / 1000, UTC).date().isoformat()
        embedded = self.bot.embedded
        note = free_space_note(embedded.directory) if embedded is not None else None
        if note is not None:
            _log.error("the store: %s", note)
            if self._space_told != day and await self.bot.tell_team("store_note", why=note):
                self._space_told = day
        folder = self.settings.store.data / anchors.FOLDER
        if (folder / f"{day}.json").exists():
            return
        try:
            anchor = await anchors.take(self.bot.store, self.bot.now())
            await asyncio.to_thread(anchors.keep, anchor, folder, day)
        except (StoreError, OSError):
            _log.exception("the anchor of %s could not be taken; again in an hour", day)

    # --- gaps ------------------------------------------------------------------------------

    async def catch_up(self) -> None:
        """After our own outage, and after one that was not read back to its end.

        A chat that was away when the bot ended is away until it is looked at; our own outage
        lies within that gap.
        """
        last = await self.bot.store.alive_last()
        now = self.bot.now()
        if note := await self.bot.store.note_get(_CHAT_NOTE):
            self._chat_since = self._chat_noted = msgspec.json.decode(note, type=int)
            self.bot.sweep.standing = True
        elif last is not None and now - last >= SHORTEST_GAP:
            await self._remember(Away(last, now, "bot"))
        await self.bot.store.alive_mark(now)
        self._read_back()

    def _store_away(self, error: StoreError) -> None:
        if self._store_since is None:
            self._store_since = self.bot.now()
            _log.error("the store is away: %s", error)

    async def _store_back(self) -> None:
        since, self._store_since = self._store_since, None
        if since is not None:
            await self._back(since, "store")

    async def _back(self, since: int, why: Why, until: int | None = None) -> None:
        now = self.bot.now() if until is None else until
        _log.warning("%s is back after %d s", why, (now - since) // 1000)
        if now - since < SHORTEST_GAP:
            if self.bot.sweep.standing:  # the times go on, once all else is read back
                self._read_back()
            return
        self.bot.sweep.standing = True
        try:
            await self._remember(Away(since, now, why))
        except StoreError as error:
            self._store_away(error)
            self._store_since = since  # all of it is told when the store is back
            return
        self._read_back()

    async def _remember(self, away: Away) -> None:
        """In the store, so that a restart before all is read back goes on with it.

        One that begins when another did is the same gap, still going on: nobody was told of it
        yet, for who tells has marked before that a bot is alive.
        """
        gaps = [gap for gap in await self._remembered() if gap.since != away.since]
        gaps.append(away)
        await self.bot.store.note_put(_NOTE, msgspec.json.encode(gaps))
        self.bot.sweep.standing = True

    async def _remembered(self) -> list[Away]:
        note = await self.bot.store.note_get(_NOTE)
        return msgspec.json.decode(note, type=list[Away]) if note else []

    def _read_back(self) -> None:
        """Beside everything else; one at a time."""
        if self._reading is None or self._reading.done():
            self._reading = asyncio.create_task(self._keep_reading())
            self._reading.add_done_callback(self._read)

    def _read(self, task: asyncio.Task[None]) -> None:
        """A reading that failed by a mistake of ours would leave all times standing for ever."""
        if not task.cancelled() and (error := task.exception()) is not None:
            self._error = error
            self.ending.set()

    async def caught_up(self) -> None:
        """Wait until what was missed is read back."""
        if self._reading is not None:
            await self._reading

    async def _keep_reading(self) -> None:
        while True:
            try:
                await self.read_back()
            except StoreError as error:
                self._store_away(error)
                await self._sleep(1)
            else:
                return

    async def read_back(self) -> None:
        """Read what was missed, then tell every visit of the time that does not count."""
        while gaps := await self._remembered():
            self.bot.sweep.standing = True
            found = await self.bot.reader(self._sleep).run(min(gap.since for gap in gaps))
            if found.unread:
                why = ", ".join(sorted(set(found.unread.values())))
                await self.bot.tell_team("readback_failed", count=str(len(found.unread)), why=why)
            # Until now nobody's time ran, so the latest gap ends now.
            until = self.bot.now()
            for number, gap in enumerate(gaps, 1):
                end = until if number == len(gaps) else gap.until
                await self.gap(gap.since, end, gap.why)
            left = [gap for gap in await self._remembered() if gap not in gaps]
            await self.bot.store.note_put(_NOTE, msgspec.json.encode(left) if left else b"")
        self.bot.sweep.standing = self._chat_since is not None

    async def gap(self, since: int, until: int, why: Why) -> None:
        """Tell every wave, and each of its visits, that we were away.

        The wave's own follow-up has the same ids and counts once; but visits hear of it here,
        before any of their deadlines is looked at.
        """
        for home in await self.bot.store.homes():
            if not home.startswith("w:"):
                continue
            subject = of_wave(home[2:])
            fact = Gap(
                id=f"gap:{subject}:{since}",
                subject=subject,
                received_at=until,
                since=since,
                until=until,
                why=why,
            )
            await self.bot.desk.receive(fact)
            every = of_visit(subject.wave, EVERY)
            await self.bot.desk.receive(replace(fact, id=f"{fact.id}/every", subject=every))

    async def _clock_jumped(self) -> bool:
        """No deadline fires by a jump of the wall clock, until the next minute confirms it.

        Then the time that we did not live through is a gap like any other.
        """
        missed = self._jumps.look(self.bot.now(), self.monotonic())
        if self._jumps.seen is not None:
            seconds = f"{self._jumps.seen:.0f}"
            _log.error("the wall clock jumped by %s s; deadlines wait a minute", seconds)
            await self.bot.tell_team("clock_jumped", seconds=seconds)
        if missed is not None:
            await self._back(missed[0], "bot", missed[1])
        return self._jumps.waiting

    async def _end(self, tasks: list[asyncio.Task[None]]) -> None:
        """Finish what was accepted: it is decided, and what can go now is sent."""
        await self.bot.stop_taking()
        reading = [self._reading] if self._reading is not None else []
        for task in (*tasks, *reading):
            task.cancel()
        await asyncio.gather(*tasks, *reading, return_exceptions=True)
        with contextlib.suppress(TimeoutError, StoreError):
            async with asyncio.timeout(self.settings.serve.drain_seconds):
                while (await self.bot.sender.run_once(self.bot.now())).sent:
                    pass
        with contextlib.suppress(StoreError):
            await self.bot.store.alive_mark(self.bot.now())
