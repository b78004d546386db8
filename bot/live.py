"""A bot that lives: sweeps, sends, marks that it is alive, notices gaps, ends in order."""

import asyncio
import contextlib
import logging
import signal
import time
from typing import Literal

from apscheduler.schedulers.asyncio import AsyncIOScheduler

from bot.app import Bot, utc_now
from bot.model.fact import Gap
from bot.model.subject import Subject
from bot.settings import Settings
from bot.store.commit import Commit
from bot.store.errors import StoreError

SWEEP_SECONDS = 0.25
ALIVE_SECONDS = 5
#: Away for less than this is a restart nobody has to hear of.
SHORTEST_GAP = 60_000
WATCHDOG_SECONDS = 2.0
#: A wall clock that jumps by more than this against the monotonic one is reported.
JUMP_MS = 5_000
_log = logging.getLogger("musterline")


class Live:
    """Runs a bot until it is told to end."""

    def __init__(self, settings: Settings, bot: Bot) -> None:
        self.settings, self.bot = settings, bot
        self.wake = asyncio.Event()
        self.ending = asyncio.Event()
        self._swept = time.monotonic()
        self._away_since: int | None = None
        self._clock_at = (time.monotonic(), utc_now())
        self._jumped_until = 0.0

    async def run(self) -> None:
        loop = asyncio.get_running_loop()
        for name in (signal.SIGTERM, signal.SIGINT):
            with contextlib.suppress(NotImplementedError):
                loop.add_signal_handler(name, self.ending.set)
        await self.bot.start()
        self.bot.desk.on_commit.append(self._committed)
        await self._catch_up()
        scheduler = self._scheduler()
        scheduler.start()
        tasks = [asyncio.create_task(self._send()), asyncio.create_task(self._watch())]
        _log.info("serving on %s:%s", self.settings.serve.host, self.bot.port)
        try:
            await self.ending.wait()
        finally:
            _log.info("ending: what was accepted is finished first")
            scheduler.shutdown(wait=False)
            await self._end(tasks)

    def _committed(self, commit: Commit) -> None:
        if commit.outbox:
            self.wake.set()

    def _scheduler(self) -> AsyncIOScheduler:
        """Recurring jobs, harmless on every replica. What happens once is a deadline."""
        scheduler = AsyncIOScheduler(
            job_defaults={"coalesce": True, "misfire_grace_time": None, "max_instances": 1}
        )
        scheduler.add_job(self._sweep, "interval", seconds=SWEEP_SECONDS, jitter=0.05)
        scheduler.add_job(self._alive, "interval", seconds=ALIVE_SECONDS)
        return scheduler

    # --- recurring -------------------------------------------------------------------------

    async def _sweep(self) -> None:
        if self._clock_jumped():
            return
        try:
            await self.bot.sweep.run(self.bot.now())
        except StoreError as error:
            await self._store_away(error)
        else:
            self._swept = time.monotonic()
            await self._store_back()

    async def _watch(self) -> None:
        """The scheduler counts by the wall clock; when that is set back, sweep all the same."""
        while True:
            await asyncio.sleep(WATCHDOG_SECONDS / 4)
            if time.monotonic() - self._swept > WATCHDOG_SECONDS:
                self._swept = time.monotonic()
                await self._sweep()

    async def _send(self) -> None:
        while True:
            self.wake.clear()
            try:
                swept = await self.bot.sender.run_once(self.bot.now())
                if swept.sent:
                    continue
            except StoreError as error:
                _log.warning("sending waits for the store: %s", error)
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(self.wake.wait(), SWEEP_SECONDS)

    async def _alive(self) -> None:
        if self._away_since is None:
            with contextlib.suppress(StoreError):
                await self.bot.store.alive_mark(self.bot.now())

    # --- gaps ------------------------------------------------------------------------------

    async def _catch_up(self) -> None:
        """After our own outage: every wave hears of it before any deadline is looked at."""
        last = await self.bot.store.alive_last()
        now = self.bot.now()
        if last is not None and now - last >= SHORTEST_GAP:
            await self.gap(last, now, "bot")
        await self.bot.store.alive_mark(now)

    async def _store_away(self, error: StoreError) -> None:
        if self._away_since is None:
            self._away_since = self.bot.now()
            _log.error("the store is away: %s", error)

    async def _store_back(self) -> None:
        since, self._away_since = self._away_since, None
        if since is None:
            return
        now = self.bot.now()
        _log.warning("the store is back after %d s", (now - since) // 1000)
        if now - since >= SHORTEST_GAP:
            await self.gap(since, now, "store")

    async def gap(self, since: int, until: int, why: Literal["bot", "store", "chat"]) -> None:
        """Tell every wave that we were away, so that the time counts for nobody."""
        for home in await self.bot.store.homes():
            if not home.startswith("w:"):
                continue
            subject = Subject(home, "wave")
            await self.bot.desk.receive(
                Gap(
                    id=f"gap:{subject}:{since}",
                    subject=subject,
                    received_at=until,
                    since=since,
                    until=until,
                    why=why,
                )
            )
        await self.bot.settle(until)

    def _clock_jumped(self) -> bool:
        """No deadline fires by a jump of the wall clock, until the next minute confirms it."""
        monotonic, wall = time.monotonic(), utc_now()
        before, before_wall = self._clock_at
        self._clock_at = (monotonic, wall)
        drift = (wall - before_wall) - (monotonic - before) * 1000
        if abs(drift) > JUMP_MS:
            _log.error("the wall clock jumped by %.1f s; deadlines wait a minute", drift / 1000)
            self._jumped_until = monotonic + 60
        return monotonic < self._jumped_until

    async def _end(self, tasks: list[asyncio.Task[None]]) -> None:
        """Finish what was accepted: what is committed and can go now is sent."""
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        with contextlib.suppress(TimeoutError, StoreError):
            async with asyncio.timeout(self.settings.serve.drain_seconds):
                while (await self.bot.sender.run_once(self.bot.now())).sent:
                    pass
        with contextlib.suppress(StoreError):
            await self.bot.store.alive_mark(self.bot.now())
        await self.bot.stop()
