"""``musterline serve`` as a process of its own: an orderly end, a sudden one, a second bot."""

import asyncio
import itertools
import os
import re
import signal
import subprocess
import sys
from collections import Counter
from collections.abc import AsyncIterator
from dataclasses import dataclass, field
from pathlib import Path

import aiohttp
import pytest

from bot.practice import scene
from bot.practice.chatserver import ChatServer
from bot.practice.child import store_process
from bot.practice.registry import Registry
from bot.store.embedded import SOCKET
from bot.store.store import Store
from handlers.registration import fact_id
from tests.faults.record import SENDER

TOP = Path(__file__).resolve().parents[2]
NOW = 1_773_340_000_000

SETTINGS = """
runbook = "{runbook}"
[store]
data = "{data}"
[chat]
bot_token = "{token}"
signing_secret = "{signing}"
base_url = "{base}"
channels = ["CWAVE01"]
team_channel = "{team}"
[serve]
port = 0
[registration]
serial = ["data.serial"]
[[registration.sources]]
name = "{source}"
secrets = ["{secret}"]
[[people]]
name = "Ines Calloway"
user = "U0002"
roles = ["oncall", "admin"]
"""


@dataclass
class Served:
    """A bot that serves. ``said`` is what it has logged so far."""

    process: asyncio.subprocess.Process
    said: list[str] = field(default_factory=list)
    port: int = 0
    reading: "asyncio.Task[None] | None" = None

    async def read(self, listens: asyncio.Event) -> None:
        assert self.process.stderr is not None
        async for raw in self.process.stderr:
            line = raw.decode()
            self.said.append(line)
            if found := re.search(r"serving on \S+:(\d+)", line):
                self.port = int(found[1])
                listens.set()
        listens.set()

    async def ends(self) -> int:
        code = await asyncio.wait_for(self.process.wait(), 30)
        if self.reading is not None:
            await self.reading
        return code


@dataclass
class Place:
    """A stand-in chat, and a folder with settings, for bots to serve in."""

    folder: Path
    chat: ChatServer
    served: list[Served] = field(default_factory=list)

    @property
    def data(self) -> Path:
        return self.folder / "d"

    async def serve(self) -> Served:
        settings = self.folder / "settings.toml"
        settings.write_text(
            SETTINGS.format(
                runbook=scene.HERE / "runbook.yaml",
                data=self.data,
                token=self.chat.api.bot_token,
                signing=scene.SIGNING_SECRET,
                base=f"{self.chat.base_url}/api/",
                team=scene.TEAM_CHANNEL,
                source=scene.SOURCE,
                secret=scene.WEBHOOK_SECRET,
            )
        )
        process = await asyncio.create_subprocess_exec(
            sys.executable,
            *("-m", "bot", "serve", "--settings", str(settings)),
            cwd=TOP,
            stderr=asyncio.subprocess.PIPE,
            stdout=subprocess.DEVNULL,
        )
        served, listens = Served(process), asyncio.Event()
        served.reading = asyncio.create_task(served.read(listens))
        self.served.append(served)
        await asyncio.wait_for(listens.wait(), 30)
        return served

    async def registrations(self) -> Counter[str]:
        """Facts of registrations in the journal, read on the store as a bot left it."""
        store = Store(f"unix://{self.data / SOCKET}")
        facts: Counter[str] = Counter()
        try:
            for home in await store.homes():
                async for line in store.journal(home):
                    facts[line.fact_id] += 1
        finally:
            await store.close()
        return facts


@pytest.fixture
async def place(tmp_path_factory: pytest.TempPathFactory) -> AsyncIterator[Place]:
    chat = ChatServer(clock=lambda: NOW, signing_secret=scene.SIGNING_SECRET)
    await chat.start()
    found = Place(tmp_path_factory.mktemp("s"), chat)
    yield found
    for served in found.served:
        if served.process.returncode is None:
            served.process.kill()
            await served.ends()
    if store := store_process(found.data):
        os.kill(store, signal.SIGKILL)
    await chat.stop()


class Flood:
    """Registrations side by side, each sent until it is taken, until the bot is gone."""

    def __init__(self, port: int, prefix: str) -> None:
        self._registry = Registry(f"http://127.0.0.1:{port}")
        self._idents = (f"{prefix}-{n}" for n in itertools.count())
        self.taken: list[str] = []
        self.enough = asyncio.Event()
        self._gone = asyncio.Event()
        self._tasks = [asyncio.create_task(self._send()) for _ in range(4)]

    async def _send(self) -> None:
        for ident in self._idents:
            while not await self._registry._send(ident, registry_body(ident)):
                if self._gone.is_set():
                    return
                await asyncio.sleep(0.01)
            self.taken.append(ident)
            if len(self.taken) >= 30:
                self.enough.set()

    async def ends(self) -> list[str]:
        """After the bot has ended: the ids that were answered 2xx."""
        self._gone.set()
        await asyncio.gather(*self._tasks)
        await self._registry.close()
        return self.taken


def registry_body(ident: str) -> bytes:
    return (
        '{"specversion":"1.0","source":"https://registry.example.org/units",'
        f'"id":"{ident}","type":"org.example.unit.registered",'
        f'"data":{{"serial":"HML-{ident}"}}}}'
    ).encode()


def fact(ident: str) -> str:
    return fact_id(scene.SOURCE, {"source": SENDER, "id": ident})


async def test_what_was_accepted_before_sigterm_is_kept(place: Place) -> None:
    served = await place.serve()
    flood = Flood(served.port, "A")
    await asyncio.wait_for(flood.enough.wait(), 30)
    served.process.terminate()
    assert await served.ends() == 0, served.said
    taken = await flood.ends()
    assert not store_process(place.data)  # the store ended with it
    again = await place.serve()
    facts = await place.registrations()
    assert [ident for ident in taken if facts[fact(ident)] != 1] == []
    again.process.terminate()
    assert await again.ends() == 0, again.said


async def test_what_was_accepted_before_sigkill_is_kept_and_the_store_is_adopted(
    place: Place,
) -> None:
    served = await place.serve()
    flood = Flood(served.port, "B")
    await asyncio.wait_for(flood.enough.wait(), 30)
    served.process.kill()
    assert await served.ends() == -signal.SIGKILL
    taken = await flood.ends()
    left = store_process(place.data)
    assert left
    again = await place.serve()
    assert store_process(place.data) == left
    facts = await place.registrations()
    assert [ident for ident in taken if facts[fact(ident)] != 1] == []
    assert max(count for name, count in facts.items() if name.startswith("reg:")) == 1
    async with (
        aiohttp.ClientSession(trust_env=False) as session,
        session.get(f"http://127.0.0.1:{again.port}/ready") as answer,
    ):
        assert answer.status == 200


async def test_a_second_bot_on_the_same_embedded_store_is_refused(place: Place) -> None:
    first = await place.serve()
    second = await place.serve()
    assert await second.ends() == 2
    said = "".join(second.said)
    assert f"another bot (process {first.process.pid}) uses the embedded store" in said
    assert "set the store's URL so that both share one server" in said
    assert "Traceback" not in said
    assert first.process.returncode is None
    first.process.terminate()
    assert await first.ends() == 0, first.said
