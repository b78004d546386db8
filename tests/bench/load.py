"""The client: a process of its own, which sends requests made beforehand and times the answers.

    python -m tests.bench.load PORT CONNECTIONS RATE FILE

``FILE`` is a msgpack list of whole HTTP requests. ``RATE`` 0: each connection sends the next
request as soon as it has an answer. Otherwise requests leave at that many a second, whatever the
answers do, and the time of each counts from when it should have left. What is answered 503 is sent
again, as senders do, and its time runs on. Prints one JSON object.
"""

import asyncio
import sys
import time
from collections import Counter, deque
from pathlib import Path
from typing import cast

import msgspec
import uvloop

#: No run takes longer, whatever happens; seconds.
LONGEST = 120.0


class Result(msgspec.Struct, frozen=True):
    """What one run gave. Times in seconds."""

    sent: int
    seconds: float
    p50: float
    p99: float
    statuses: dict[str, int]

    @property
    def rate(self) -> float:
        """Answers a second."""
        return self.sent / self.seconds

    @property
    def accepted(self) -> int:
        return self.statuses.get("202", 0)


class Run:
    """Requests on their way, over all connections."""

    def __init__(self, requests: list[bytes], rate: float) -> None:
        self.ready: deque[tuple[float, bytes]] = deque()
        self.idle: deque[Connection] = deque()
        self.requests, self.rate = requests, rate
        self.times: list[float] = []
        self.statuses: Counter[str] = Counter()
        self.ended = asyncio.Event()
        self.began = 0.0

    def next(self) -> tuple[float, bytes] | None:
        if self.ready:
            return self.ready.popleft()
        if not self.rate and self.requests:
            return time.perf_counter(), self.requests.pop()
        return None

    def answered(self, since: float, request: bytes, status: str, wanted: int) -> None:
        self.statuses[status] += 1
        if status == "503":
            self.ready.append((since, request))
            return
        self.times.append(time.perf_counter() - since)
        if len(self.times) == wanted:
            self.ended.set()

    async def pace(self) -> None:
        """Lay requests ready at their times."""
        number = 0
        while self.requests:
            due = self.began + number / self.rate
            if due > time.perf_counter():
                await asyncio.sleep(0.0005)
                continue
            self.ready.append((due, self.requests.pop()))
            number += 1
            if self.idle:
                self.idle.popleft().go()


class Connection(asyncio.Protocol):
    """One connection that is kept; one request at a time."""

    def __init__(self, run: Run, wanted: int) -> None:
        self._run, self._wanted = run, wanted
        self._buffer = b""
        self._since = 0.0
        self._request = b""
        self._transport: asyncio.WriteTransport | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        # uvloop's transports have the methods, not the class.
        self._transport = cast("asyncio.WriteTransport", transport)

    def connection_lost(self, exc: Exception | None) -> None:
        if self._since:
            self._run.answered(self._since, self._request, "lost", self._wanted)

    def go(self) -> None:
        found = self._run.next()
        if found is None:
            self._since = 0.0
            self._run.idle.append(self)
            return
        self._since, self._request = found
        assert self._transport is not None
        self._transport.write(self._request)

    def data_received(self, data: bytes) -> None:
        self._buffer += data
        head, mark, rest = self._buffer.partition(b"\r\n\r\n")
        if not mark or len(rest) < _length(head):
            return
        self._buffer = b""
        self._run.answered(self._since, self._request, head[9:12].decode(), self._wanted)
        self.go()


def _length(head: bytes) -> int:
    _, _, value = head.lower().partition(b"content-length:")
    return int(value.split(b"\r\n", 1)[0])


async def load(port: int, connections: int, rate: float, requests: list[bytes]) -> Result:
    """Send all requests to the loopback port. Raises ``TimeoutError`` after ``LONGEST``."""
    wanted = len(requests)
    run = Run(requests[::-1], rate)
    loop = asyncio.get_running_loop()
    opened: list[Connection] = []
    for _ in range(connections):
        _, made = await loop.create_connection(lambda: Connection(run, wanted), "127.0.0.1", port)
        opened.append(made)
    run.began = time.perf_counter()
    for one in opened:
        one.go()
    async with asyncio.timeout(LONGEST):
        if rate:
            await run.pace()
        await run.ended.wait()
    seconds = time.perf_counter() - run.began
    times = sorted(run.times)
    return Result(
        wanted,
        seconds,
        times[len(times) // 2],
        times[min(len(times) - 1, len(times) * 99 // 100)],
        dict(run.statuses),
    )


def main() -> None:
    port, connections, rate, path = sys.argv[1:]
    requests = msgspec.msgpack.decode(Path(path).read_bytes(), type=list[bytes])
    result = uvloop.run(load(int(port), int(connections), float(rate), requests))
    print(msgspec.json.encode(result).decode())


if __name__ == "__main__":
    main()
