"""Socket Mode: what comes in over a websocket that we opened, acknowledged after its commit.

Source: "Using Socket Mode", https://docs.slack.dev/apis/events-api/using-socket-mode (hello,
envelopes, acknowledging by ``envelope_id``, disconnect). The library's client would try a
spent address again and again when connecting fails, and takes a proxy from the environment;
so the connection is ours, and the framework's own functions handle what comes over it.
Envelopes come side by side and out of order; what is not answered 200 is not acknowledged.
"""

import asyncio
import json
import logging
import random
from typing import Any, cast

import aiohttp
from slack_bolt.adapter.socket_mode.async_internals import run_async_bolt_app, send_async_response
from slack_bolt.app.async_app import AsyncApp
from slack_sdk.errors import SlackApiError, SlackClientError
from slack_sdk.socket_mode.request import SocketModeRequest
from slack_sdk.socket_mode.response import SocketModeResponse

from bot.send.chat import PLATFORM, make_client

HEARTBEAT = 10.0  # seconds of process time between pings
LONGEST_PAUSE = 30.0
_log = logging.getLogger("musterline.sockets")
#: Errors at which no later try can help: the token is wrong.
HOPELESS = frozenset({"invalid_auth", "not_authed", "not_allowed_token_type", "account_inactive"})


class BadAppToken(Exception):
    """The platform does not take our app-level token; the text is one sentence."""


class ChatSockets:
    """Keeps one websocket open and hands what comes over it to the framework."""

    def __init__(
        self, app: AsyncApp, app_token: str, *, base_url: str = PLATFORM, proxy: str | None = None
    ) -> None:
        self._app, self._token = app, app_token
        self._base_url, self._proxy = base_url, proxy
        self._session: aiohttp.ClientSession | None = None
        self._keeper: asyncio.Task[None] | None = None
        self._work: set[asyncio.Task[None]] = set()
        self._closing: set[asyncio.Task[None]] = set()
        self.connected = False

    async def start(self) -> None:
        """Open the first connection, or go on trying while the platform is away.

        Raises ``BadAppToken`` when trying again cannot help.
        """
        self._session = aiohttp.ClientSession(trust_env=False)
        try:
            first: str | None = await self._address()
        except SlackApiError as error:
            word = str(error.response.get("error", ""))
            if word in HOPELESS:
                await self._session.close()
                raise BadAppToken(
                    f"chat.app_token is refused ({word}): make an app-level token with the scope "
                    "connections:write."
                ) from error
            first = None
        except (SlackClientError, aiohttp.ClientError, OSError, TimeoutError):
            first = None
        self._keeper = asyncio.create_task(self._keep(first))

    async def stop(self, seconds: float) -> None:
        """Take nothing more; finish and acknowledge what came, within ``seconds``."""
        if self._keeper is not None:
            self._keeper.cancel()
            await asyncio.gather(self._keeper, return_exceptions=True)
        if self._work:
            await asyncio.wait(self._work, timeout=seconds)
        for task in (*self._work, *self._closing):
            task.cancel()
        if self._session is not None:
            await self._session.close()

    async def _address(self) -> str:
        """An address for one connection."""
        client = make_client("", session=self._session, base_url=self._base_url, proxy=self._proxy)
        async with asyncio.timeout(5):
            answer = await client.apps_connections_open(app_token=self._token)
        return str(answer["url"])

    async def _keep(self, first: str | None) -> None:
        """Connect, listen, and connect again: at once when asked to, else with growing pauses."""
        pause, address = 0.5, first
        while True:
            try:
                await self._connection(address or await self._address())
                pause = 0.5
            except (SlackClientError, aiohttp.ClientError, OSError, TimeoutError) as error:
                _log.warning("no websocket to the chat platform: %r", error)
                await asyncio.sleep(pause * (0.75 + random.random() / 2))  # noqa: S311
                pause = min(LONGEST_PAUSE, pause * 2)
            address = None

    async def _connection(self, url: str) -> None:
        assert self._session is not None
        socket = await self._session.ws_connect(url, heartbeat=HEARTBEAT, proxy=self._proxy)
        mine: set[asyncio.Task[None]] = set()
        try:
            await self._listen(socket, mine)
        finally:
            self.connected = False
            closing = asyncio.create_task(_close_after(socket, mine))
            self._closing.add(closing)
            closing.add_done_callback(self._closing.discard)

    async def _listen(
        self, socket: aiohttp.ClientWebSocketResponse, mine: set[asyncio.Task[None]]
    ) -> None:
        async for message in socket:
            if message.type is not aiohttp.WSMsgType.TEXT:
                continue
            envelope = _envelope(message.data)
            kind = envelope.get("type")
            if kind == "hello":
                self.connected = True
                _log.info("a websocket to the chat platform is open")
            elif kind == "disconnect":
                _log.info("the chat platform asks for a new websocket: %s", envelope.get("reason"))
                return
            else:
                task = asyncio.create_task(self._handle(socket, envelope))
                for tasks in (mine, self._work):
                    tasks.add(task)
                    task.add_done_callback(tasks.discard)
        if not self.connected:
            raise ConnectionError("closed before it said hello")

    async def _handle(
        self, socket: aiohttp.ClientWebSocketResponse, envelope: dict[str, Any]
    ) -> None:
        request = SocketModeRequest.from_dict(envelope)
        if request is None:
            _log.warning("an envelope of type %s is of no use here", envelope.get("type"))
            return
        try:
            answer = await run_async_bolt_app(self._app, request)
            await send_async_response(cast("Any", _Reply(socket)), request, answer, 0.0)
        except (ConnectionError, aiohttp.ClientError) as error:
            _log.warning("could not be acknowledged and will come again: %r", error)


class _Reply:
    """The way back, in the form the framework's function asks for."""

    logger = _log

    def __init__(self, socket: aiohttp.ClientWebSocketResponse) -> None:
        self._socket = socket

    async def send_socket_mode_response(self, response: SocketModeResponse) -> None:
        await self._socket.send_str(json.dumps(response.to_dict()))


def _envelope(text: str) -> dict[str, Any]:
    try:
        found = json.loads(text)
    except ValueError:
        return {}
    return found if isinstance(found, dict) else {}


async def _close_after(
    socket: aiohttp.ClientWebSocketResponse, tasks: set[asyncio.Task[None]]
) -> None:
    """Let what came over this connection be acknowledged over it, then close it."""
    if tasks:
        await asyncio.wait(tasks, timeout=3)
    await socket.close()
