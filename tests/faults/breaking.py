"""What can break under a served bot, each thing done to real processes."""

import asyncio
import os
import resource
import signal
import socket
from collections.abc import Awaitable, Callable
from pathlib import Path

from bot.practice.child import store_process
from tests.faults import shifted
from tests.faults.served import Place, Served

#: How long a store stands still, and a disk has no room, in seconds.
_STILL, _FULL = 1.5, 2.0
#: How far the clock is put, in seconds: more than any signature may be old.
_PUT = 3600.0


class Ground:
    """A served bot whose clock can be put, always at the same port."""

    def __init__(self, place: Place) -> None:
        self.place = place
        self.port = _free_port()
        self.shift: Path = place.folder / "clock"
        self.served: Served | None = None

    async def begin(self) -> None:
        shifted.write(self.shift, 0.0)
        program = ("tests.faults.shifted", str(self.shift))
        self.served = await self.place.serve(port=self.port, program=program)
        if not self.served.port:
            raise RuntimeError("the bot does not serve:\n" + "".join(self.served.said))

    @property
    def bot(self) -> Served:
        assert self.served is not None
        return self.served

    async def store(self) -> int:
        """The store's process, waited for."""
        async with asyncio.timeout(30):
            while not (found := store_process(self.place.data)):  # noqa: ASYNC110 - another process
                await asyncio.sleep(0.02)
        return found


def _free_port() -> int:
    with socket.socket() as asked:
        asked.bind(("127.0.0.1", 0))
        return int(asked.getsockname()[1])


async def nothing(ground: Ground) -> None:
    """To compare with."""


async def store_killed(ground: Ground) -> None:
    os.kill(await ground.store(), signal.SIGKILL)


async def store_ended(ground: Ground) -> None:
    os.kill(await ground.store(), signal.SIGTERM)


async def store_slow(ground: Ground) -> None:
    """It stands still for longer than a call may take."""
    store = await ground.store()
    os.kill(store, signal.SIGSTOP)
    try:
        await asyncio.sleep(_STILL)
    finally:
        os.kill(store, signal.SIGCONT)


async def disk_full(ground: Ground) -> None:
    """No file may grow beyond what the append-only file has now, nor may those of new servers."""
    size = max(file.stat().st_size for file in ground.place.data.rglob("*.aof"))
    full = (size, resource.RLIM_INFINITY)
    room = (resource.RLIM_INFINITY, resource.RLIM_INFINITY)
    bot = ground.bot.process.pid
    resource.prlimit(bot, resource.RLIMIT_FSIZE, full)  # servers that it starts inherit it
    resource.prlimit(await ground.store(), resource.RLIMIT_FSIZE, full)
    await asyncio.sleep(_FULL)
    resource.prlimit(bot, resource.RLIMIT_FSIZE, room)
    if store := store_process(ground.place.data):
        resource.prlimit(store, resource.RLIMIT_FSIZE, room)


async def bot_killed(ground: Ground) -> None:
    ground.bot.process.kill()
    await ground.bot.ends()
    await ground.begin()


async def bot_ended(ground: Ground) -> None:
    ground.bot.process.terminate()
    code = await ground.bot.ends()
    if code:
        raise RuntimeError(f"the bot ended with {code}:\n" + "".join(ground.bot.said[-20:]))
    await ground.begin()


async def clock_put(ground: Ground) -> None:
    """An hour forward, and back again."""
    for seconds in (_PUT, 0.0):
        shifted.write(ground.shift, seconds)
        await asyncio.sleep(1.0)


FAULTS: dict[str, Callable[[Ground], Awaitable[None]]] = {
    "nothing": nothing,
    "store killed": store_killed,
    "store ended": store_ended,
    "store stands still": store_slow,
    "disk full": disk_full,
    "bot killed": bot_killed,
    "bot ended": bot_ended,
    "clock put": clock_put,
}
