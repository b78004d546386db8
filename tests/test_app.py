"""``musterline serve`` and ``check`` as processes of their own, against the stand-in chat."""

import asyncio
import os
import shutil
import signal
import socket
import sys
import tempfile
import time
from collections.abc import AsyncIterator
from pathlib import Path

import aiohttp
import pytest

from bot.practice import scene
from bot.practice.chatserver import ChatServer

ROOT = Path(__file__).resolve().parent.parent
STRANGER, ANOTHER = "U0900", "U0901"  # each is answered once a day


def wall() -> int:
    return time.time_ns() // 1_000_000


def free_port() -> int:
    with socket.socket() as asked:
        asked.bind(("127.0.0.1", 0))
        port: int = asked.getsockname()[1]
        return port


class Served:
    """The settings of one bot, its process and the chat it lives in."""

    def __init__(self, folder: Path, server: ChatServer) -> None:
        self.folder, self.server = folder, server
        self.port = free_port()
        self.path = folder / "m.toml"
        self.process: asyncio.subprocess.Process | None = None
        self.errors = folder / "log"

    def write(self, **changes: str) -> None:
        text = f"""
runbook = "{scene.HERE / "runbook.yaml"}"
[store]
data = "{self.folder / "data"}"
[chat]
bot_token = "{self.server.api.bot_token}"
signing_secret = "{scene.SIGNING_SECRET}"
base_url = "{self.server.base_url}/api/"
channels = ["CWAVE01"]
team_channel = "{scene.TEAM_CHANNEL}"
[serve]
port = {self.port}
drain_seconds = 5
""" + "".join(
            f'[[people]]\nname = "{p.name}"\nuser = "{p.user}"\nroles = ["{p.roles[0]}"]\n'
            for p in scene.PEOPLE
        )
        for old, new in changes.items():
            text = text.replace(old, new)
        self.path.write_text(text, encoding="utf-8")

    async def run(self, command: str) -> tuple[int, str]:
        """Run a command to its end; exit code and all that it printed."""
        process = await asyncio.create_subprocess_exec(
            *(sys.executable, "-m", "bot", command, "--settings", str(self.path)),
            cwd=ROOT,
            env=self._environment(),
            stdout=asyncio.subprocess.PIPE,
            stderr=asyncio.subprocess.STDOUT,
        )
        try:
            out, _ = await asyncio.wait_for(process.communicate(), 60)
        except TimeoutError:
            process.kill()
            raise
        assert process.returncode is not None
        return process.returncode, out.decode()

    def _environment(self) -> dict[str, str]:
        return {k: v for k, v in os.environ.items() if not k.startswith("MUSTERLINE_")}

    async def start(self) -> None:
        with self.errors.open("ab") as log:
            self.process = await asyncio.create_subprocess_exec(
                *(sys.executable, "-m", "bot", "serve", "--settings", str(self.path)),
                cwd=ROOT,
                env=self._environment(),
                stdout=log,
                stderr=log,
            )
        self.server.events_url = f"http://127.0.0.1:{self.port}/chat/events"
        give_up = time.monotonic() + 60
        while await self.get("/ready") != 200:
            assert self.process.returncode is None, self.errors.read_text()
            assert time.monotonic() < give_up, self.errors.read_text()
            await asyncio.sleep(0.05)  # a process takes real time to start

    async def get(self, path: str) -> int:
        url = f"http://127.0.0.1:{self.port}{path}"
        try:
            async with (
                aiohttp.ClientSession(trust_env=False) as session,
                session.get(url) as answer,
            ):
                return answer.status
        except aiohttp.ClientError:
            return 0

    def delivered(self, user: str) -> bool:
        """Whether the latest that this person wrote was acknowledged."""
        sent = (d for d in self.server.deliveries if d.kind == "event")
        mine = [d for d in sent if d.payload.get("event", {}).get("user") == user]
        return mine[-1].ok

    async def end(self) -> int:
        assert self.process is not None
        if self.process.returncode is None:
            self.process.send_signal(signal.SIGTERM)
        return await asyncio.wait_for(self.process.wait(), 30)


@pytest.fixture
async def served() -> AsyncIterator[Served]:
    folder = Path(tempfile.mkdtemp(prefix="ms-"))
    server = ChatServer(clock=wall, signing_secret=scene.SIGNING_SECRET)
    await server.start()
    people = tuple(p.user for p in scene.PEOPLE)
    for person in scene.PEOPLE:
        server.add_user(person.user, person.name)
    server.add_user(STRANGER, "A Passer-by")
    server.add_user(ANOTHER, "Another Passer-by")
    server.add_channel("wave", id="CWAVE01", members=people)
    server.add_channel("team", id=scene.TEAM_CHANNEL, private=True, members=people)
    made = Served(folder, server)
    made.write()
    yield made
    if made.process is not None and made.process.returncode is None:
        await made.end()
    await server.stop()
    shutil.rmtree(folder, ignore_errors=True)


async def test_serving_from_start_to_sigterm(served: Served) -> None:
    await served.start()
    assert await served.get("/live") == 200
    assert await served.server.verify_url()
    await served.server.dm(STRANGER, "hello")
    assert served.delivered(STRANGER)
    direct = served.server.workspace.dm_with(STRANGER).id
    assert "no visit for you" in str(served.server.messages(direct)[-1]["text"])
    asked = await served.server.command(scene.ADMIN, "CWAVE01", "/wave", "help")
    assert "/wave hold" in asked.body

    # The platform is slow to answer us while SIGTERM comes: the request is finished first.
    fault = served.server.faults.add("late", "chat.postMessage")
    saying = asyncio.create_task(served.server.dm(ANOTHER, "hello there"))
    async with asyncio.timeout(20):
        await fault.reached.wait()
    assert served.process is not None
    served.process.send_signal(signal.SIGTERM)
    await asyncio.sleep(0.3)  # it is told, and must not be gone yet
    assert served.process.returncode is None
    assert await served.get("/live") == 0  # nothing new is taken
    fault.release()
    await saying
    assert served.delivered(ANOTHER)
    assert await served.end() == 0
    assert "Traceback" not in served.errors.read_text()


async def test_a_second_start_goes_on_where_the_first_ended(served: Served) -> None:
    await served.start()
    assert await served.end() == 0
    await served.start()
    assert await served.end() == 0


async def test_what_cannot_start_says_why_in_one_sentence(served: Served) -> None:
    served.write(**{'team_channel = "CTEAM01"': ""})
    code, said = await served.run("serve")
    assert (code, said) == (2, "chat.team_channel is not set.\n")
    served.write(drain_seconds="drain_minutes")
    code, said = await served.run("serve")
    assert code == 2
    assert said == f"{served.path}: serve.drain_minutes: there is no such setting.\n"
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        served.write(**{f"port = {served.port}": f"port = {taken.getsockname()[1]}"})
        code, said = await served.run("serve")
        assert code == 2
        assert "cannot be listened on" in said
        assert "Traceback" not in said


async def test_a_first_start_without_the_chat_says_so(served: Served) -> None:
    served.server.faults.add("drop_before", times=10**9)
    code, said = await served.run("serve")
    assert code == 2
    assert "The chat platform cannot be asked who we are" in said


async def test_check_is_content_with_what_is_fit(served: Served) -> None:
    await served.server.say(scene.ADMIN, "CWAVE01", "hello")
    code, said = await served.run("check")
    assert code == 1
    assert "so no wave would open" in said
    served.write(**{"runbook = ": "person_on_chat_alone_may_open = true\nrunbook = "})
    code, said = await served.run("check")
    assert code == 0, said
    assert "Fit to serve." in said
    assert "a power cut of the store loses nothing that was acknowledged" in said
    assert "no replica" in said
    assert "CWAVE01: the bot is a member; threads can be read" in said
    assert "CTEAM01: the bot is a member; it is empty" in said


async def test_check_names_everything_that_is_missing(served: Served) -> None:
    await served.server.say(scene.ADMIN, "CWAVE01", "hello")
    served.server.rules.bot_reads_threads = False
    served.server.workspace.users["U0003"].deleted = True
    served.server.workspace.channels[scene.TEAM_CHANNEL].members.pop(served.server.bot_user)
    served.server.api.scopes = served.server.api.scopes - {"pins:write"}
    served.write(U0002="U0404")
    code, said = await served.run("check")
    assert code == 1
    for sentence in (
        "missing: chat.bot_token: the scope pins:write is missing",
        "missing: people: Ines Calloway: the chat knows no account U0404",
        "missing: people: Joel Harrowby: the account U0003 is disabled",
        "missing: chat.channels: CWAVE01: the bot's token may not read threads here",
        "missing: chat.team_channel: CTEAM01: there is no such channel, or it is private",
        "Not fit to serve yet.",
    ):
        assert sentence in said
