"""The README's walk, on a stand-in chat: serve, import beside it, the evening, a registration.

Each command is a process of its own, as a first-time admin runs them.
"""

import asyncio
import json
import shutil
import subprocess
import sys
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import UTC, datetime, timedelta

import pytest

from bot.practice import scene
from bot.practice.chatserver import ChatServer
from bot.practice.chatserver.answers import Json
from tests.commands.kit import HEADER, SAMPLE, TIMEOUT, Folder, environment, said
from tests.commands.test_readme import signing_script

CONTACT = "U0101"
CHANNEL = "CWAVE01"
SETTINGS = """
runbook = "{runbook}"
person_on_chat_alone_may_open = true
[store]
data = "data"
[chat]
bot_token = "{token}"
signing_secret = "{signing}"
base_url = "{base}/api/"
channels = ["{channel}"]
team_channel = "{team}"
[registration]
serial = ["data.serial"]
[[registration.sources]]
name = "registry"
secrets = ["{secret}"]
[serve]
port = 0
[policy]
quiet_from = 00:00:00
quiet_until = 00:00:00
[[people]]
name = "Ines Calloway"
user = "U0002"
roles = ["oncall", "admin"]
"""


def secret() -> str:
    """The one in the README's example."""
    line = next(x for x in signing_script().splitlines() if x.startswith("secret="))
    return line.split("'")[1]


#: From the import to the start: time enough for the invitation to be answered.
SOON = timedelta(seconds=15)


def site_list(start: datetime) -> str:
    row = f"w1,alderbeck,Alderbeck Library,Etc/UTC,{CONTACT},,HML-4F7K2Q,HG-10,4.2.3,{start:%F %T}"
    settled = "yes,yes,carton; label; contact; deputy"
    return f"{HEADER},line tested,in registry,seen on site\n{row},{settled}\n"


class Evening:
    """A stand-in chat on the real clock, and a bot that serves it."""

    def __init__(self, folder: Folder) -> None:
        self.folder = folder
        self.chat = ChatServer(
            clock=lambda: time.time_ns() // 1_000_000, signing_secret=scene.SIGNING_SECRET
        )
        self.port = 0

    async def start(self) -> None:
        await self.chat.start()
        for user, name in (("U0002", "Ines Calloway"), (CONTACT, "Ada Brightwell")):
            self.chat.add_user(user, name)
        self.chat.add_channel("wave-1", id=CHANNEL, members=("U0002", CONTACT))
        self.chat.add_channel("team", id=scene.TEAM_CHANNEL, private=True, members=("U0002",))
        self.folder.settings(
            SETTINGS.format(
                runbook=SAMPLE,
                token=self.chat.api.bot_token,
                signing=scene.SIGNING_SECRET,
                base=self.chat.base_url,
                channel=CHANNEL,
                team=scene.TEAM_CHANNEL,
                secret=secret(),
            )
        )

    @asynccontextmanager
    async def serving(self) -> AsyncIterator[asyncio.subprocess.Process]:
        process = await asyncio.create_subprocess_exec(
            sys.executable,
            *("-m", "bot", "serve"),
            cwd=self.folder.path,
            env=environment(**self.folder.more),
            stdout=asyncio.subprocess.DEVNULL,
            stderr=asyncio.subprocess.PIPE,
        )
        assert process.stderr is not None
        try:
            async with asyncio.timeout(TIMEOUT):
                async for line in process.stderr:
                    if b"serving on 127.0.0.1:" in line:
                        self.port = int(line.rsplit(b":", 1)[1])
                        break
            self.chat.events_url = f"http://127.0.0.1:{self.port}/chat/events"
            drained = asyncio.create_task(process.stderr.read())
            yield process
            process.terminate()
            assert await asyncio.wait_for(process.wait(), TIMEOUT) == 0
            assert b"Traceback" not in await drained
        finally:
            if process.returncode is None:
                process.kill()
                await process.wait()

    async def message(self, template: str) -> Json:
        """The first message with this text, as soon as it is there."""
        async with asyncio.timeout(TIMEOUT):
            while True:
                for found in self.chat.messages(CHANNEL) + self._replies():
                    mark = found.get("metadata", {}).get("event_payload", {})
                    if mark.get("template") == template:
                        return found
                await asyncio.sleep(0.05)

    def _replies(self) -> list[Json]:
        roots = [m for m in self.chat.messages(CHANNEL) if m.get("reply_count")]
        return [reply for root in roots for reply in self.chat.thread(CHANNEL, root["ts"])]

    async def press(self, template: str, answer: str) -> None:
        shown = await self.message(template)
        actions = [
            str(element["action_id"])
            for block in shown["blocks"]
            if block["type"] == "actions"
            for element in block["elements"]
        ]
        action = next(a for a in actions if a.split(":")[2:] == [answer])
        done = await self.chat.press(CONTACT, CHANNEL, str(shown["ts"]), action)
        assert done.ok

    async def run(self, *words: str) -> "subprocess.CompletedProcess[str]":
        """A command beside the bot; the stand-in goes on answering meanwhile."""
        return await asyncio.to_thread(self.folder.run, *words)

    async def curl(self) -> str:
        """The README's own example, at this bot's address."""
        script = signing_script().replace("127.0.0.1:8080", f"127.0.0.1:{self.port}")
        done = await asyncio.to_thread(
            subprocess.run,
            ["sh", "-euc", script],
            cwd=self.folder.path,
            env=environment(),
            capture_output=True,
            text=True,
            check=True,
        )
        return done.stdout


@pytest.mark.slow
@pytest.mark.skipif(not shutil.which("openssl") or not shutil.which("curl"), reason="no curl")
async def test_from_nothing_to_a_unit_online(bare: Folder) -> None:
    evening = Evening(bare)
    await evening.start()
    try:
        check = await evening.run("check")
        assert (check.returncode, said(check).splitlines()[-1]) == (0, "Fit to serve.")
        async with evening.serving():
            await _the_evening(evening)
        status = await evening.run("status", "--json")
        assert json.loads(status.stdout)["online"] == 1
        verified = await evening.run("verify")
        assert (verified.returncode, "all as recorded" in said(verified)) == (0, True)
    finally:
        await evening.chat.stop()


async def _the_evening(evening: Evening) -> None:
    folder = evening.folder
    start = datetime.now(UTC) + SOON
    folder.write("sites.csv", site_list(start))
    done = await evening.run("import", "sites.csv")
    assert (done.returncode, done.stdout) == (0, "Brought in: 1 new.\n"), said(done)

    await evening.press("invite", "yes")
    await evening.press("begin", "here")
    await evening.message("mobile_data")
    status = await evening.run("status")
    assert "Wave w1: 0 of 1 units online (running" in said(status)

    folder.write("sites.csv", site_list(start + SOON).replace("HML-4F7K2Q", "HML-9ZZZ99"))
    again = await evening.run("import", "sites.csv")
    assert again.returncode == 0
    assert "w1/alderbeck: under way; not changed: serials, start" in said(again).splitlines()

    assert (await evening.curl()).startswith("HTTP/1.1 202 ")
    assert '"repeat"' in await evening.curl()
    await evening.message("tidy")
