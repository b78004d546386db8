"""Ctrl-C and SIGTERM while something runs that has to be ended in order."""

import asyncio
import contextlib
import signal
from collections.abc import Callable, Coroutine
from types import TracebackType
from typing import Any, Self

#: So long what is under way may take to end by itself before it is cut short, in seconds.
PATIENCE = 3.0
_SIGNALS = (signal.SIGINT, signal.SIGTERM)


class Stop:
    """While entered, a signal ends things in order. ``code`` is the exit code it calls for.

    The first signal asks what is under way to end at its next good moment; the second, or
    ``PATIENCE``, cuts it short. With nothing under way the task that entered is cancelled.
    """

    def __init__(self) -> None:
        self.code = 0
        self._task: asyncio.Task[Any] | None = None
        self._under_way: asyncio.Task[None] | None = None
        self._ask: Callable[[], None] = lambda: None

    def __enter__(self) -> Self:
        self._task = asyncio.current_task()
        for number in _SIGNALS:
            with contextlib.suppress(NotImplementedError):
                asyncio.get_running_loop().add_signal_handler(number, self._told, number)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        for number in _SIGNALS:
            with contextlib.suppress(NotImplementedError):
                asyncio.get_running_loop().remove_signal_handler(number)

    async def through(self, work: Coroutine[Any, Any, None], ask: Callable[[], None]) -> None:
        """Run ``work`` to its end, or to where a signal ended it; ``ask`` asks it to end."""
        self._under_way, self._ask = asyncio.create_task(work), ask
        try:
            await self._under_way
        except asyncio.CancelledError:
            if not self.code:
                raise
        finally:
            self._under_way.cancel()
            self._under_way = None

    def forgive(self) -> None:
        """The cancelling of our task has done its work."""
        if self._task is not None:
            self._task.uncancel()

    def _told(self, number: int) -> None:
        again, self.code = bool(self.code), 128 + number
        if self._under_way is None:
            if self._task is not None:
                self._task.cancel()
        elif again:
            self._under_way.cancel()
        else:
            self._ask()
            asyncio.get_running_loop().call_later(PATIENCE, self._under_way.cancel)
