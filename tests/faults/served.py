"""``musterline serve`` as a process of its own, in a folder of its own, beside a stand-in chat."""

import asyncio
import contextlib
import os
import re
import signal
import subprocess
import sys
from collections import Counter
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass, field
from pathlib import Path

from bot.model.subject import ASIDE
from bot.practice import scene
from bot.practice.chatserver import ChatServer
from bot.practice.child import store_process
from bot.store.embedded import SOCKET
from bot.store.store import Store

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
port = {port}
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
    more: str = ""  # of the settings file
    served: list[Served] = field(default_factory=list)

    @property
    def data(self) -> Path:
        return self.folder / "d"

    async def serve(self, *, port: int = 0, program: tuple[str, ...] = ("bot",)) -> Served:
        """A bot; ``program``: the module that is run instead, and what it is told first."""
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
                port=port,
            )
            + self.more
        )
        process = await asyncio.create_subprocess_exec(
            sys.executable,
            *("-m", *program, "serve", "--settings", str(settings)),
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
        """Facts in the journal, read on the store as a bot left it.

        What was kept aside until its visit was known stands in both journals, and counts once.
        """
        store = Store(f"unix://{self.data / SOCKET}")
        facts: Counter[str] = Counter()
        kept: Counter[str] = Counter()
        try:
            for home in await store.homes():
                async for line in store.journal(home):
                    (kept if line.subject == ASIDE else facts)[line.fact_id] += 1
        finally:
            await store.close()
        return facts | kept


@contextlib.asynccontextmanager
async def a_place(
    folder: Path, clock: Callable[[], int] = lambda: NOW, more: str = ""
) -> AsyncIterator[Place]:
    """The stand-in chat and a folder; whatever still runs at the end is ended.

    ``more`` stands at the end of the settings of the bots that serve there.
    """
    chat = ChatServer(clock=clock, signing_secret=scene.SIGNING_SECRET)
    await chat.start()
    found = Place(folder, chat, more)
    try:
        yield found
    finally:
        for served in found.served:
            if served.process.returncode is None:
                served.process.kill()
                await served.ends()
        if store := store_process(found.data):
            os.kill(store, signal.SIGKILL)
        await chat.stop()
