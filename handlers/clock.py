"""The clock in: every deadline that is due becomes a fact. Harmless on every replica."""

import asyncio
import math
import time
from collections.abc import Callable

from bot.desk import Desk
from bot.model.fact import Due
from bot.model.message import ESCALATION
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

    async def run(self, now: int, patience: float = math.inf) -> int:
        """Bring in what is due at ``now``; how many facts that were.

        Every deadline by which a person is called comes before any other, in all homes. After
        ``patience`` seconds of process time the others are left to the next sweep, so that calls
        which fall due meanwhile do not wait for them. No home waits for another that fails:
        errors are raised when all were looked through. Raises ``StoreAway``, or ``PartRefused``
        where the store is there.
        """
        until = time.monotonic() + patience
        async with self._running:
            before = self.fired
            failed: dict[str, list[BaseException]] = {}
            while entries := await self._most_urgent(now, failed):
                for start in range(0, len(entries), _AT_ONCE):
                    await self._fire_all(entries[start : start + _AT_ONCE], now, failed)
                    if entries[0].rank > ESCALATION and time.monotonic() > until:
                        return self._done(before, failed)
            return self._done(before, failed)

    def _done(self, before: int, failed: dict[str, list[BaseException]]) -> int:
        wrong = [error for errors in failed.values() for error in errors]
        for error in wrong:
            if isinstance(error, StoreAway) or not isinstance(error, StoreError):
                raise error
        if wrong:
            raise PartRefused(f"{len(wrong)} deadlines were refused: {wrong[0]}")
        return self.fired - before

    async def _most_urgent(
        self, now: int, failed: dict[str, list[BaseException]]
    ) -> list[DueEntry]:
        """Of all that is due in homes where nothing failed, what comes before the rest."""
        found: list[DueEntry] = []
        for home in await self._desk.store.homes():
            if home not in failed:
                try:
                    found += await self._due(home, now)
                except StoreError as error:
                    failed[home] = [error]
        first = min((entry.rank for entry in found), default=0)
        return [entry for entry in found if entry.rank == first]

    async def _fire_all(
        self, entries: list[DueEntry], now: int, failed: dict[str, list[BaseException]]
    ) -> None:
        entries = [entry for entry in entries if entry.subject.home not in failed]
        fires = (self._fire(entry, now) for entry in entries)
        for entry, result in zip(
            entries, await asyncio.gather(*fires, return_exceptions=True), strict=True
        ):
            if isinstance(result, BaseException):
                failed.setdefault(entry.subject.home, []).append(result)
            else:
                self.fired += 1

    async def _due(self, home: str, now: int) -> list[DueEntry]:
        entries = await self._desk.store.due(home, now, _ALL)
        if not self.standing:
            return entries
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
