"""Group commit: calls made within one turn of the event loop travel together."""

import asyncio
from collections import deque

from bot.store.errors import StoreAway
from bot.store.link import Link
from bot.store.wire import Call


class Batcher:
    """Collects calls and sends them as pipelines of at most ``size``, ``lanes`` at once.

    While all lanes are under way, what comes in gathers for the next pipeline, so batches grow
    with the load and an idle store answers at once.
    """

    def __init__(self, link: Link, *, lanes: int, size: int, replicas: int = 0) -> None:
        self._link = link
        self._lanes = lanes
        self._size = size
        self._replicas = replicas
        self._waiting: deque[Call] = deque()
        self._under_way: set[asyncio.Task[None]] = set()
        self._called = False
        self._closed = False
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
        while self._waiting and len(self._under_way) < self._lanes:
            count = min(self._size, len(self._waiting))
            batch = [self._waiting.popleft() for _ in range(count)]
            self.batches += 1
            task = asyncio.get_running_loop().create_task(self._send(batch))
            self._under_way.add(task)
            task.add_done_callback(self._ended)

    def _ended(self, task: "asyncio.Task[None]") -> None:
        self._under_way.discard(task)
        if self._waiting and not self._called:
            self._turn_over()

    async def _send(self, batch: list[Call]) -> None:
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
        while self._under_way or self._waiting:
            self._turn_over()
            await asyncio.wait(set(self._under_way))
