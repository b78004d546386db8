"""What the tests of the stand-in chat share: a clock, a receiver, the real client."""

import asyncio
import json
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import parse_qs

import pytest
from aiohttp import web
from slack_sdk.errors import SlackApiError
from slack_sdk.signature import SignatureVerifier
from slack_sdk.web.async_client import AsyncWebClient

from bot.practice.chatserver import ChatServer
from bot.practice.chatserver.server import BOT_TOKEN

SECRET = "made-up signing secret"
START = 1_700_000_000_000

Json = dict[str, Any]


@dataclass
class Clock:
    """Wave time in ms, moved by the test."""

    now: int = START

    def __call__(self) -> int:
        return self.now

    def on(self, millis: int) -> int:
        self.now += millis
        return self.now


@dataclass
class Got:
    """One request that came in with a good signature."""

    headers: dict[str, str]
    body: str

    @property
    def json(self) -> Json:
        """The event body, or the payload of a press, or the fields of a command."""
        if self.body.startswith("{"):
            return dict(json.loads(self.body))
        form = {name: values[0] for name, values in parse_qs(self.body).items()}
        return dict(json.loads(form["payload"])) if "payload" in form else form

    @property
    def event(self) -> Json:
        return dict(self.json["event"])


@dataclass
class Receiver:
    """The app's side: checks every signature with the platform's own verifier."""

    answer: Callable[[], web.Response] = web.Response
    got: list[Got] = field(default_factory=list)
    hold: asyncio.Event | None = None
    url: str = ""
    _verifier: SignatureVerifier = field(default_factory=lambda: SignatureVerifier(SECRET))

    async def handle(self, request: web.Request) -> web.Response:
        body = await request.text()
        if not self._verifier.is_valid_request(body, dict(request.headers)):
            return web.Response(status=401)
        self.got.append(Got({k.lower(): v for k, v in request.headers.items()}, body))
        if self.hold is not None:
            await self.hold.wait()
        return self.answer()

    def events(self) -> list[Json]:
        return [got.event for got in self.got if got.json.get("type") == "event_callback"]


@dataclass
class Room:
    """A running stand-in with one channel, one person, the app's receiver and a client."""

    chat: ChatServer
    client: AsyncWebClient
    app: Receiver
    clock: Clock
    base: str
    channel: str
    ana: str


def client_of(base: str, token: str = BOT_TOKEN) -> AsyncWebClient:
    client = AsyncWebClient(token=token, base_url=base, timeout=10, retry_handlers=[])
    client.proxy = None  # the client takes a proxy from the environment, even for loopback
    return client


@asynccontextmanager
async def open_room(**options: Any) -> AsyncIterator[Room]:
    clock = Clock()
    chat = ChatServer(clock=clock, signing_secret=SECRET, **options)
    base = await chat.start()
    receiver = Receiver()
    app = web.Application()
    app.router.add_post("/chat", receiver.handle)
    runner = web.AppRunner(app, shutdown_timeout=0.1)
    await runner.setup()
    await web.TCPSite(runner, "127.0.0.1", 0).start()
    receiver.url = f"http://127.0.0.1:{runner.addresses[0][1]}/chat"
    chat.events_url = receiver.url
    ana = chat.add_user("U0ANA00001", "Ana Merrow")
    channel = chat.add_channel("wave-1", members=[ana])
    try:
        yield Room(chat, client_of(base), receiver, clock, base, channel, ana)
    finally:
        if receiver.hold is not None:
            receiver.hold.set()
        await chat.stop()
        await runner.cleanup()


async def refused(call: Any) -> Json:
    """The answer of a call that must be refused."""
    with pytest.raises(SlackApiError) as caught:
        await call
    answer = caught.value.response
    assert answer["ok"] is False
    return dict(answer.data)


def button(action_id: str = "done", **fields: Any) -> Json:
    text = {"type": "plain_text", "text": "Done"}
    return {"type": "button", "text": text, "action_id": action_id, "value": "1", **fields}


def actions(*elements: Json, **fields: Any) -> Json:
    return {"type": "actions", "elements": list(elements), **fields}


def section(text: str = "Press when done.", **fields: Any) -> Json:
    return {"type": "section", "text": {"type": "mrkdwn", "text": text}, **fields}
