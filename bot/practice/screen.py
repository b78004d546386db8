"""A rehearsal's live screen: the sites, the figures, the online curve, and any site's thread."""

import asyncio
import contextlib
import logging
import sys
import textwrap
import time
from types import TracebackType
from typing import Self

from rich.console import Console
from rich.live import Live

from bot.practice.house import House
from bot.practice.rehearsal import Figures
from bot.practice.screenkeys import Keys, typed_line
from bot.practice.screenpaint import Painter
from bot.practice.screenpick import Pick
from bot.practice.screenstate import Watched
from bot.practice.show import Plain, thread_lines

_REFRESH = 0.2
#: Painting takes at most about this share of the time, however large the wave.
_SHARE = 0.15


class _ToNews(logging.Handler):
    """What the bot logs, among the news: on a screen of its own there is no other place."""

    def __init__(self, watched: Watched) -> None:
        super().__init__(logging.WARNING)
        self._watched = watched

    def emit(self, record: logging.LogRecord) -> None:
        self._watched.chronicle.note("log", record.getMessage())


class Screen(Plain):
    """The whole terminal while the rehearsal runs; afterwards the summary below the prompt.

    ``ask``: at the end, whose thread the person wants to read.
    """

    def __init__(self, house: House, speed: float, *, ask: bool) -> None:
        super().__init__(house)
        self._ask = ask
        self.console = Console()
        self.pick = Pick(self.watched)
        self._painter = Painter(self.watched, self.pick, speed, self.began, self.console)
        self._keys = Keys()
        self._live = Live(console=self.console, screen=True, auto_refresh=False)
        self._tasks: list[asyncio.Task[None]] = []
        self._log = _ToNews(self.watched)

    async def __aenter__(self) -> Self:
        await self.watched.start()
        self._keys.__enter__()
        logging.getLogger().addHandler(self._log)
        try:
            self._live.start()
            self._paint()
        except BaseException:
            self._leave()
            raise
        self._tasks = [asyncio.create_task(self._refresh()), asyncio.create_task(self._listen())]
        return self

    async def __aexit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        for task in self._tasks:
            task.cancel()
        try:
            for task in self._tasks:
                with contextlib.suppress(asyncio.CancelledError):
                    await task
        finally:
            self._leave()
            self.watched.stop()

    def _leave(self) -> None:
        logging.getLogger().removeHandler(self._log)
        try:
            self._live.stop()
        finally:
            self._keys.__exit__(None, None, None)

    def step(self, now: int) -> None:
        """Painting has a pace of its own."""

    # --- while it runs ---------------------------------------------------------------------

    async def _refresh(self) -> None:
        while True:
            took = self._paint()
            await asyncio.sleep(max(_REFRESH, took / _SHARE))

    def _paint(self) -> float:
        """Seconds it took."""
        began = time.monotonic()
        self.watched.chronicle.catch_up()
        self._live.update(self._painter.picture(), refresh=True)
        return time.monotonic() - began

    async def _listen(self) -> None:
        while True:
            key = await self._keys.pressed.get()
            if key == "q":
                self.on_quit()
            elif self.pick.key(key):
                self._paint()

    # --- afterwards ------------------------------------------------------------------------

    async def end(self, figures: Figures, thread: str | None, *, hurried: bool) -> None:
        await super().end(figures, thread, hurried=hurried)
        if self._ask and not hurried and sys.stdin.isatty():
            await self._threads()

    async def _threads(self) -> None:
        while wanted := await typed_line("\nWhich unit's thread? (serial or site; Enter to end) "):
            for line in thread_lines(self.house, self.watched.chronicle, wanted):
                print(textwrap.fill(line, self.console.width, subsequent_indent=" " * 9))
        print(flush=True)
