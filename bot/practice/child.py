"""A rehearsal's bot as a process of its own, so that it can be killed and started anew.

It is the bot of ``bot.app`` on its own embedded store. Two things differ from a live one: its
clock follows the rehearsal (``POST /practice/settle``, at an address of its own), and it can be
told to kill itself, or its store, at a point of the code that ``bot.store.probe`` names. It ends
when its standard input does, so that none outlives the rehearsal.
"""

import asyncio
import contextlib
import logging
import os
import random
import signal
import socket
import struct
import sys
import threading
import time
from pathlib import Path

import msgspec
from aiohttp import web

from bot.app import Bot, Parts
from bot.practice import scene
from bot.practice.clock import WaveClock
from bot.send.pacing import Pacing
from bot.send.sender import SenderSettings
from bot.settings import StoreSettings
from bot.store.embedded import SOCKET
from bot.store.errors import StoreAway, StoreError

#: As quick as the stand-in answers; the lease is twice the deadline of a call, as ever.
QUICK = SenderSettings(lease=4_000, in_doubt_wait=200, tidy_after=1_000)
#: A pace that never binds: it is kept in memory, so a killed bot would send sooner than an
#: undisturbed one, and the runs could not be compared by wave time.
UNBOUND = 1_000_000
#: ``x.during`` is up to so long after ``x.before``, in seconds of process time.
DURING = 0.004


class Kill(msgspec.Struct, frozen=True):
    """Kill ``what`` (``bot`` or ``store``) at the ``nth`` passing of ``point`` from now.

    ``on``: from when a registration is sent (``registration``), or a person acts (``person``).
    """

    what: str
    point: str
    nth: int = 1
    on: str = ""

    @property
    def name(self) -> str:
        return f"{self.on} {self.point}".strip()


class Spec(msgspec.Struct, frozen=True, kw_only=True):
    """What a child is told at its start."""

    data: str
    base_url: str
    token: str
    channels: list[str]
    seed: int = 0
    kill: Kill | None = None


class Settle(msgspec.Struct, frozen=True):
    now: int
    kill: Kill | None = None


class Settled(msgspec.Struct, frozen=True):
    ahead: int | None
    passed: dict[str, int]
    restarts: int


class Line(msgspec.Struct, frozen=True, kw_only=True):
    """What a child says on its standard output: where it listens, or what it kills."""

    port: int = 0
    practice: int = 0
    clock: int | None = None
    killed: Kill | None = None


class Reaper:
    """The probe: counts what is passed and kills where it was told to."""

    def __init__(self, data: Path, kill: Kill | None, seed: int) -> None:
        self._data, self._chance = data, random.Random(seed)
        self._armed: dict[Kill, int] = {}  # and how often its point was passed since
        self.passed: dict[str, int] = {}
        self.arm(kill)

    def arm(self, kill: Kill | None) -> None:
        if kill is not None:
            self._armed[kill] = 0

    def __call__(self, point: str) -> None:
        self.passed[point] = self.passed.get(point, 0) + 1
        for kill in list(self._armed):
            if kill.point.replace(".during", ".before") == point:
                self._armed[kill] += 1
                if self._armed[kill] >= kill.nth:
                    del self._armed[kill]
                    self._execute(kill)

    def _execute(self, kill: Kill) -> None:
        if kill.point.endswith(".during"):
            late = self._chance.uniform(0, DURING)
            threading.Thread(target=self._later, args=(kill, late), daemon=True).start()
        else:
            self._do(kill)

    def _later(self, kill: Kill, seconds: float) -> None:
        time.sleep(seconds)
        self._do(kill)

    def _do(self, kill: Kill) -> None:
        victim = os.getpid() if kill.what == "bot" else store_process(self._data)
        if victim:
            _tell(Line(killed=kill))
            with contextlib.suppress(ProcessLookupError):
                os.kill(victim, signal.SIGKILL)


def store_process(data: Path) -> int:
    """The process that listens on the store's socket; 0 when none does."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as asked:
        try:
            asked.connect(str(data / SOCKET))
        except OSError:
            return 0
        size = struct.calcsize("3i")
        found = asked.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, size)
        return int(struct.unpack("3i", found)[0])


def _tell(line: Line) -> None:
    os.write(sys.stdout.fileno(), msgspec.json.encode(line) + b"\n")


class Child:
    """The bot and the address at which the rehearsal leads it."""

    def __init__(self, spec: Spec) -> None:
        self._spec = spec
        self._clock = WaveClock(0)
        self._reaper = Reaper(Path(spec.data), spec.kill, spec.seed)
        known = scene.settings(spec.base_url, spec.token, spec.channels, "")
        self._bot = Bot(
            known.model_copy(update={"store": StoreSettings(data=Path(spec.data))}),
            scene.runbook(),
            Parts(
                now=self._clock.now,
                sender=QUICK,
                pacing=Pacing(share=1_000, reserve=1_000, burst=UNBOUND),
                may_open=lambda _roster, _at: True,
                probe=self._reaper,
            ),
        )
        self._ended = asyncio.Event()

    async def run(self) -> None:
        loop = asyncio.get_running_loop()
        for name in (signal.SIGTERM, signal.SIGINT):
            loop.add_signal_handler(name, self._ended.set)
        loop.add_reader(sys.stdin.fileno(), self._input_ends)
        await self._bot.start()
        kept = await self._bot.store.clock_get()
        if kept is not None:
            self._clock.move(kept)
        runner = await self._listen()
        port = runner.addresses[0][1]
        _tell(Line(port=self._bot.port, practice=port, clock=kept))
        await self._ended.wait()
        await runner.cleanup()
        await self._bot.stop()

    def _input_ends(self) -> None:
        if not os.read(sys.stdin.fileno(), 1024):
            asyncio.get_running_loop().remove_reader(sys.stdin.fileno())
            self._ended.set()

    async def _listen(self) -> web.AppRunner:
        app = web.Application()
        app.router.add_post("/practice/settle", self._settle)
        app.router.add_post("/practice/tidy", self._tidy)
        app.router.add_post("/practice/arm", self._arm)
        runner = web.AppRunner(app, access_log=None)
        await runner.setup()
        await web.TCPSite(runner, "127.0.0.1", 0).start()
        return runner

    async def _settle(self, request: web.Request) -> web.Response:
        """All there is to do at this instant. A store that is away is waited for."""
        asked = msgspec.json.decode(await request.read(), type=Settle)
        self._reaper.arm(asked.kill)
        self._clock.move(asked.now)
        ahead = await self._settled(asked.now)
        restarts = self._bot.embedded.restarts if self._bot.embedded else 0
        answer = Settled(ahead, self._reaper.passed, restarts)
        return web.Response(body=msgspec.json.encode(answer))

    async def _settled(self, now: int) -> int | None:
        while True:
            try:
                await self._bot.store.clock_set(now)
                return await self._bot.settle(now)
            except StoreAway as error:
                logging.getLogger("musterline").warning("settling waits: %s", error)
                await asyncio.sleep(0.05)

    async def _arm(self, request: web.Request) -> web.Response:
        self._reaper.arm(msgspec.json.decode(await request.read(), type=Kill))
        return web.json_response({})

    async def _tidy(self, _: web.Request) -> web.Response:
        removed = await self._bot.sender.tidy(force=True)
        return web.json_response({"removed": removed})


def main() -> int:
    """``python -m bot.practice.child SPEC``; 2 when the bot cannot start."""
    logging.basicConfig(level=logging.WARNING, format="%(levelname)s %(name)s %(message)s")
    spec = msgspec.json.decode(sys.argv[1], type=Spec)
    try:
        asyncio.run(Child(spec).run())
    except StoreError as error:
        print(error, file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
