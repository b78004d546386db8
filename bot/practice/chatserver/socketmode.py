"""Socket Mode: the same bodies in envelopes over a websocket, acknowledged by their id.

Source: "Using Socket Mode", https://docs.slack.dev/apis/events-api/using-socket-mode (hello,
envelopes, acknowledging, disconnect); https://docs.slack.dev/reference/methods/
apps.connections.open (the address is made for one use and needs the app-level token).
The words of `retry_reason` in an envelope are from memory.
"""

import asyncio
import itertools
import json
import uuid
from dataclasses import dataclass, field
from typing import Literal

from aiohttp import WSMsgType, web

from bot.practice.chatserver.answers import Json

EnvelopeType = Literal["events_api", "interactive", "slash_commands"]
MOST_CONNECTIONS = 10
_NAMESPACE = uuid.UUID("5b1f4f1c-40c2-5d0b-8f7b-6f0f1d9f2a10")


@dataclass
class Acknowledged:
    """An envelope was acknowledged; `payload` is the answer in it, if any."""

    payload: Json | None = None


@dataclass
class Sockets:
    """The app's open websockets. Envelopes go to them in turn."""

    app_id: str
    connections: list[web.WebSocketResponse] = field(default_factory=list)
    _arrived: asyncio.Event = field(default_factory=asyncio.Event)
    _tickets: set[str] = field(default_factory=set)
    _waiting: dict[str, "asyncio.Future[Acknowledged]"] = field(default_factory=dict)
    _number: "itertools.count[int]" = field(default_factory=itertools.count)

    def ticket(self) -> str:
        """A ticket for one connection."""
        ticket = str(uuid.uuid5(_NAMESPACE, f"ticket {next(self._number)}"))
        self._tickets.add(ticket)
        return ticket

    async def handle(self, request: web.Request) -> web.StreamResponse:
        ticket = request.query.get("ticket", "")
        if ticket not in self._tickets:
            return web.Response(status=403)
        self._tickets.discard(ticket)
        socket = web.WebSocketResponse()
        await socket.prepare(request)
        if len(self.connections) >= MOST_CONNECTIONS:
            await self._bye(socket, "too_many_websockets")
            return socket
        self.connections.append(socket)
        try:
            await socket.send_json(self._hello())
            self._arrived.set()
            await self._listen(socket)
        finally:
            if socket in self.connections:
                self.connections.remove(socket)
        return socket

    async def connected(self) -> None:
        """Wait until the app has a websocket open."""
        while not self.connections:
            self._arrived.clear()
            await self._arrived.wait()

    def _hello(self) -> Json:
        return {
            "type": "hello",
            "num_connections": len(self.connections),
            "connection_info": {"app_id": self.app_id},
            "debug_info": {"host": "practice", "approximate_connection_time": 18060},
        }

    async def _listen(self, socket: web.WebSocketResponse) -> None:
        async for message in socket:
            if message.type is WSMsgType.TEXT:
                self._acknowledge(json.loads(message.data))

    def _acknowledge(self, answer: Json) -> None:
        waiting = self._waiting.pop(str(answer.get("envelope_id")), None)
        if waiting is not None and not waiting.done():
            waiting.set_result(Acknowledged(answer.get("payload")))

    async def send(
        self, kind: EnvelopeType, payload: Json, *, attempt: int, reason: str, seconds: float
    ) -> Acknowledged | None:
        """Send one envelope; None when it is not acknowledged within `seconds`.

        Raises ConnectionError when the app has no websocket open.
        """
        if not self.connections:
            raise ConnectionError("the app has no websocket open")
        socket = self.connections.pop(0)
        self.connections.append(socket)
        envelope_id = str(uuid.uuid5(_NAMESPACE, f"envelope {next(self._number)}"))
        envelope: Json = {
            "envelope_id": envelope_id,
            "type": kind,
            "payload": payload,
            "accepts_response_payload": kind == "slash_commands",
        }
        if kind == "events_api":
            envelope.update(retry_attempt=attempt, retry_reason=reason)
        waiting: asyncio.Future[Acknowledged] = asyncio.get_running_loop().create_future()
        self._waiting[envelope_id] = waiting
        try:
            await socket.send_json(envelope)
            return await asyncio.wait_for(waiting, seconds)
        except TimeoutError:
            return None
        finally:
            self._waiting.pop(envelope_id, None)

    async def disconnect(self, reason: str = "refresh_requested") -> None:
        """Tell every connection to come back, then close it.

        Reasons: "warning" (comes about ten seconds before), "refresh_requested", "link_disabled".
        """
        for socket in list(self.connections):
            await self._bye(socket, reason)
        self.connections.clear()

    async def _bye(self, socket: web.WebSocketResponse, reason: str) -> None:
        debug = {"host": "practice"}
        await socket.send_json({"type": "disconnect", "reason": reason, "debug_info": debug})
        await socket.close()

    async def cut(self) -> None:
        """Close every connection without a word."""
        for socket in list(self.connections):
            await socket.close()
        self.connections.clear()
