"""Facts of one subject stand in line, so that those of one process never meet each other.

Without it only the first of many that come at once would get through, and the others would try
in vain until they are kept aside. Other replicas are met still; for them the commit compares.
"""

import asyncio
import contextlib
from collections.abc import AsyncIterator
from weakref import WeakValueDictionary

from bot.model.subject import Subject
from bot.store.errors import StoreAway


class Lines:
    """One line for each subject that anybody waits for."""

    def __init__(self, patience: float) -> None:
        self._patience = patience  # seconds of process time
        self._locks: WeakValueDictionary[Subject, asyncio.Lock] = WeakValueDictionary()

    @contextlib.asynccontextmanager
    async def turn(self, subject: Subject) -> AsyncIterator[None]:
        """Raises ``StoreAway`` when it takes too long: then the store does not get on."""
        lock = self._locks.get(subject)
        if lock is None:
            self._locks[subject] = lock = asyncio.Lock()
        if lock.locked():
            await self._wait(lock, subject)
        else:
            await lock.acquire()  # at once
        try:
            yield
        finally:
            lock.release()

    async def _wait(self, lock: asyncio.Lock, subject: Subject) -> None:
        try:
            async with asyncio.timeout(self._patience):
                await lock.acquire()
        except TimeoutError:
            raise StoreAway(f"too many facts of {subject} wait for the store") from None
