"""Facts of one subject stand in line, so that those of one process never meet each other.

Without it only the first of many that come at once would get through, and the others would try
in vain until they are kept aside. Other replicas are met still; for them the commit compares.
"""

import asyncio

from bot.model.subject import Subject
from bot.store.errors import StoreAway


class Lines:
    """One line for each subject that anybody waits for."""

    def __init__(self, patience: float) -> None:
        self.patience = patience  # seconds of process time
        self.locks: dict[Subject, Line] = {}

    def turn(self, subject: Subject) -> "Turn":
        """Enter it with ``async with``. Raises ``StoreAway`` when it takes too long."""
        return Turn(self, subject)


class Line:
    """Who is in it, waiting or having its turn."""

    __slots__ = ("lock", "those")

    def __init__(self) -> None:
        self.lock = asyncio.Lock()
        self.those = 0


class Turn:
    """One turn in the line of a subject; the last to leave takes the line away."""

    __slots__ = ("_line", "_lines", "_subject")

    def __init__(self, lines: Lines, subject: Subject) -> None:
        self._lines, self._subject = lines, subject

    async def __aenter__(self) -> None:
        line = self._lines.locks.get(self._subject)
        if line is None:
            line = self._lines.locks[self._subject] = Line()
        self._line = line
        line.those += 1
        try:
            if line.those > 1:  # between two turns the lock is free, and is not ours for that
                await self._wait()
            else:
                await line.lock.acquire()  # at once
        except BaseException:
            self._leave()
            raise

    async def __aexit__(self, *_: object) -> None:
        self._line.lock.release()
        self._leave()

    def _leave(self) -> None:
        self._line.those -= 1
        if not self._line.those:
            del self._lines.locks[self._subject]

    async def _wait(self) -> None:
        try:
            async with asyncio.timeout(self._lines.patience):
                await self._line.lock.acquire()
        except TimeoutError:
            raise StoreAway(f"too many facts of {self._subject} wait for the store") from None
