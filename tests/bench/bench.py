"""What the measurements share: the store, the processes, the machine, the table."""

import asyncio
import contextlib
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import AsyncIterator, Iterator, Sequence
from pathlib import Path

import msgspec
import redis

from bot.store.embedded import Embedded
from bot.store.link import Options
from bot.store.store import Store
from tests.bench.load import Result

ROOT = Path(__file__).parents[2]
_SYNCS = 200


class Failed(Exception):
    """The measured program did something wrong: there is no figure for that."""


@contextlib.asynccontextmanager
async def fresh_store() -> AsyncIterator[str]:
    """The embedded store as it is shipped (fsync on every write), empty; gives its URL."""
    store = Embedded(None)
    try:
        yield await store.start()
    finally:
        await store.stop()


def empty(url: str) -> None:
    with contextlib.closing(redis.Redis.from_url(url)) as client:
        client.flushall()


@contextlib.asynccontextmanager
async def empty_store(url: str) -> AsyncIterator[Store]:
    """The store, emptied, to be filled and looked into; patient, for it is not what is measured."""
    empty(url)
    store = Store(url, options=Options(socket_timeout=60))
    try:
        yield store
    finally:
        await store.close()


@contextlib.contextmanager
def quick_writing(url: str) -> Iterator[None]:
    """Fill the store without a sync for each write; what follows is measured with it."""
    with contextlib.closing(redis.Redis.from_url(url)) as client:
        client.config_set("appendfsync", "no")
        yield
        client.config_set("appendfsync", "always")


def store_cpu(url: str) -> float:
    """CPU seconds that the server of the store has used."""
    with contextlib.closing(redis.Redis.from_url(url, decode_responses=True)) as client:
        found = client.info("cpu")
        return float(found["used_cpu_user"]) + float(found["used_cpu_sys"])


def sync_micros() -> float:
    """What one ``fdatasync`` after a small write costs here, in microseconds (the middle one)."""
    with tempfile.TemporaryFile() as file:
        times = []
        for _ in range(_SYNCS):
            file.write(b"x" * 512)
            file.flush()
            since = time.perf_counter()
            os.fdatasync(file.fileno())
            times.append(time.perf_counter() - since)
    return sorted(times)[_SYNCS // 2] * 1e6


class Server:
    """A server process that is measured."""

    def __init__(self, which: str, url: str, now: int) -> None:
        self.which = which
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.bench.server", which, url, str(now)],
            cwd=ROOT,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        self.port = int(self._line())

    def _line(self) -> str:
        assert self._process.stdout is not None
        line = self._process.stdout.readline()
        if not line:
            raise Failed(f"the server {self.which} ended with {self._process.wait()}")
        return line

    def cpu(self) -> float:
        """CPU seconds it has used."""
        assert self._process.stdin is not None
        self._process.stdin.write("\n")
        self._process.stdin.flush()
        return float(self._line())

    def stop(self) -> None:
        assert self._process.stdin is not None
        self._process.stdin.close()
        try:
            self._process.wait(15)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()


async def run_load(
    server: Server, requests: Sequence[bytes], *, connections: int, rate: float = 0
) -> Result:
    """One run of the client; every request must be answered 202 in the end."""
    with tempfile.NamedTemporaryFile() as file:
        file.write(msgspec.msgpack.encode(list(requests)))
        file.flush()
        command = [sys.executable, "-m", "tests.bench.load", str(server.port)]
        client = await asyncio.create_subprocess_exec(
            *command,
            str(connections),
            str(rate),
            file.name,
            cwd=ROOT,
            stdout=subprocess.PIPE,
        )
        out, _ = await client.communicate()
    if client.returncode:
        raise Failed(f"the client ended with {client.returncode}")
    result = msgspec.json.decode(out, type=Result)
    if result.accepted != result.sent:
        raise Failed(f"{server.which} answered {result.statuses} to {result.sent} requests")
    return result


def middle(values: Sequence[float]) -> float:
    return sorted(values)[len(values) // 2]


def table(rows: Sequence[Sequence[object]]) -> None:
    """Print rows in columns; the first is the heading."""
    texts = [[f"{cell:.2f}" if isinstance(cell, float) else str(cell) for cell in r] for r in rows]
    widths = [max(len(row[n]) for row in texts) for n in range(len(texts[0]))]
    for row in texts:
        cells = [row[0].ljust(widths[0])]
        cells += [cell.rjust(width) for cell, width in zip(row[1:], widths[1:], strict=True)]
        print("  ".join(cells))


def last_line(figures: dict[str, object]) -> None:
    """The figures as one JSON object on the last line; floats to four places."""
    rounded = {k: round(v, 4) if isinstance(v, float) else v for k, v in figures.items()}
    print(msgspec.json.encode(rounded).decode(), flush=True)
