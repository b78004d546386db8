"""What happens in the simulated world, and when: a heap of wave times."""

import heapq
import itertools
from collections.abc import Awaitable, Callable

Doing = Callable[[], Awaitable[None]]


class Agenda:
    """Things to do, in the order of their wave time (ms), then of ``rank``, then as added."""

    def __init__(self) -> None:
        self._heap: list[tuple[int, str, int, Doing]] = []
        self._count = itertools.count()

    def add(self, at: int, rank: str, doing: Doing) -> None:
        """``rank`` orders what happens at one instant, so that a seed always gives one order."""
        heapq.heappush(self._heap, (at, rank, next(self._count), doing))

    def next_at(self) -> int | None:
        return self._heap[0][0] if self._heap else None

    async def run(self, now: int) -> int:
        """Do all that is due at ``now``, what is added for now meanwhile included."""
        done = 0
        while self._heap and self._heap[0][0] <= now:
            _, _, _, doing = heapq.heappop(self._heap)
            await doing()
            done += 1
        return done
