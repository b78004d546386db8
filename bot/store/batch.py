"""Group commit: calls made within one turn of the event loop travel together."""

import asyncio
import functools
import time
from collections import deque

from bot.store.errors import StoreAway
from bot.store.link import Link
from bot.store.wire import Call

#: Seconds for which calls are held back behind others: less is not worth it, more is felt.
_SHORTEST_HELD, _LONGEST_HELD = 0.0005, 0.005
_ENOUGH = 32  # calls that share one sync well enough not to wait for more


class Batcher:
    """Collects calls and sends them as pipelines of at most ``size``, ``lanes`` at once.

    While all lanes are under way, what comes in gathers for the next pipeline, so batches grow
    with the load and an idle store answers at once.

    ``behind`` another one, calls wait while that one is at work, for a third of the time that a
    pipeline takes here and 5 ms at most. The server syncs its file before it answers anybody, and
    a fact must be read before it is committed: so more facts share one sync, and fewer reads wait
    for one.
    """

    def __init__(
        self,
        link: Link,
        *,
        lanes: int,
        size: int,
        replicas: int = 0,
        behind: "Batcher | None" = None,
    ) -> None:
        self._link = link
        self._lanes = lanes
        self._size = size
        self._replicas = replicas
        self._waiting: deque[Call] = deque()
        self._under_way = 0
        self._tasks: set[asyncio.Task[None]] = set()
        self._next_end: asyncio.Future[None] | None = None
        self._called = False
        self._closed = False
        self._behind = behind
        self._hold: asyncio.TimerHandle | None = None
        self._takes = 0.0  # seconds that a pipeline takes, the latest count most
        self.batches = 0

    def submit(self, call: Call) -> asyncio.Future[object]:
        """Queue a call; its future gets the answer or a ``StoreError``."""
        if self._closed:
            call.done.set_exception(StoreAway("the store was closed by ourselves"))
            return call.done
        self._waiting.append(call)
        if not self._called:
            self._called = True
            asyncio.get_running_loop().call_soon(self._turn_over)
        return call.done

    def _turn_over(self) -> None:
        self._called = False
        if not self._holds_back():
            self._send_waiting()

    def _send_waiting(self) -> None:
        while self._waiting and self._under_way < self._lanes:
            count = min(self._size, len(self._waiting))
            self._send([self._waiting.popleft() for _ in range(count)])

    def _send(self, batch: list[Call]) -> None:
        self.batches += 1
        self._under_way += 1
        ended = functools.partial(self._ended, time.monotonic())
        if self._replicas or not self._link.start(batch, ended):
            task = asyncio.get_running_loop().create_task(self._run(batch))
            self._tasks.add(task)
            task.add_done_callback(self._tasks.discard)
            task.add_done_callback(lambda _: ended())

    @property
    def busy(self) -> bool:
        return self._under_way > 0 or bool(self._waiting)

    def _holds_back(self) -> bool:
        """Whether what waits is to wait on; then ``_let_go`` ends that, whatever comes."""
        patience = min(_LONGEST_HELD, self._takes / 3)
        if (
            self._behind is None
            or not self._behind.busy
            or not 0 < len(self._waiting) < min(self._size, _ENOUGH)
            or patience < _SHORTEST_HELD
            or self._closed
        ):
            if self._hold is not None:
                self._hold.cancel()
                self._hold = None
            return False
        if self._hold is None:
            self._hold = asyncio.get_running_loop().call_later(patience, self._let_go)
        return True

    def _let_go(self) -> None:
        """The time is up. By no clock: a loop's timer may ring a little before its time."""
        self._hold = None
        self._send_waiting()

    def _ended(self, since: float) -> None:
        self._under_way -= 1
        self._takes += (time.monotonic() - since - self._takes) / 4
        if self._next_end is not None and not self._next_end.done():
            self._next_end.set_result(None)
        if self._waiting and not self._called:
            self._turn_over()

    async def _run(self, batch: list[Call]) -> None:
        try:
            await self._link.run(batch, replicas=self._replicas)
        except BaseException as error:
            for call in batch:
                if not call.done.done():
                    call.done.set_exception(StoreAway(f"the store's pipeline ended: {error!r}"))
            raise

    async def close(self) -> None:
        """Refuse new calls and wait for those under way."""
        self._closed = True
        while self.busy:
            self._turn_over()
            if self._under_way:
                self._next_end = asyncio.get_running_loop().create_future()
                await self._next_end
