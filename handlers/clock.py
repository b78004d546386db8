"""The clock in: every deadline that is due becomes a fact. Harmless on every replica."""

import asyncio
from collections.abc import Callable

from bot.desk import Desk
from bot.model.fact import Due
from bot.store.errors import PartRefused, StoreAway, StoreError
from bot.store.store import DueEntry

#: Wave time in milliseconds. Live it is UTC; a rehearsal has its own.
Now = Callable[[], int]
_AT_ONCE = 256
_TRY_AGAIN = 60_000  # ms of wave time, for a deadline that could not be decided
_ALL, _FAR = 1_000_000, 2**53  # entries; wave time, ms


class Sweep:
    """Looks through the deadlines of every home; the commit makes each count once."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._running = asyncio.Lock()
        self.fired = 0
        #: After a gap, until what was missed is read: then the times of visits stand still, and
        #: only calls go on.
        self.standing = False

    async def run(self, now: int) -> int:
        """Bring in what is due at ``now``; how many facts that were.

        No home waits for another that fails: errors are raised when all were looked through.
        Raises ``StoreAway``, or ``PartRefused`` where the store is there.
        """
        async with self._running:
            before, wrong = self.fired, list[BaseException]()
            for home in await self._desk.store.homes():
                wrong += await self._home(home, now)
            for error in wrong:
                if isinstance(error, StoreAway) or not isinstance(error, StoreError):
                    raise error
            if wrong:
                raise PartRefused(f"{len(wrong)} deadlines were refused: {wrong[0]}")
            return self.fired - before

    async def _home(self, home: str, now: int) -> list[BaseException]:
        """Bring in what is due in one home, until something fails; the errors."""
        try:
            while entries := await self._due(home, now):
                fires = (self._fire(entry, now) for entry in entries)
                results = await asyncio.gather(*fires, return_exceptions=True)
                wrong = [found for found in results if isinstance(found, BaseException)]
                self.fired += len(results) - len(wrong)
                if wrong:
                    return wrong
        except StoreError as error:
            return [error]
        return []

    async def _due(self, home: str, now: int) -> list[DueEntry]:
        if not self.standing:
            return await self._desk.store.due(home, now, _AT_ONCE)
        entries = await self._desk.store.due(home, now, _ALL)
        return [e for e in entries if e.subject.kind != "visit" or e.kind.startswith("call:")]

    async def _fire(self, entry: DueEntry, now: int) -> None:
        outcome = await self._desk.receive(
            Due(
                id=entry.fact_id,
                subject=entry.subject,
                received_at=now,
                kind=entry.kind,
                version=entry.version,
            )
        )
        if outcome.answer == "kept":  # it cannot be decided now, but must not be forgotten
            await self._desk.store.put_off(entry, now + _TRY_AGAIN)

    async def next_at(self) -> int | None:
        """The wave time of the earliest deadline anywhere."""
        homes = await self._desk.store.homes()
        if self.standing:
            found = [await self._due(home, _FAR) for home in homes]
            return min((entry.at for entries in found for entry in entries), default=None)
        times = [await self._desk.store.next_due(home) for home in homes]
        return min((t for t in times if t is not None), default=None)
