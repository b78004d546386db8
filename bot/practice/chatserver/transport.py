"""The two ways to the app: signed HTTP requests, or envelopes over Socket Mode."""

import hashlib
import hmac
import json
import time
from typing import Protocol
from urllib.parse import urlencode

import aiohttp

from bot.practice.chatserver.answers import Json
from bot.practice.chatserver.attempt import Delivery, DeliveryKind
from bot.practice.chatserver.socketmode import EnvelopeType, Sockets

_JSON = "application/json"
_FORM = "application/x-www-form-urlencoded"
_REDIRECTS = 3  # the client raises on reaching it: two are followed
_ENVELOPES: dict[DeliveryKind, EnvelopeType] = {
    "event": "events_api",
    "interactive": "interactive",
    "command": "slash_commands",
}


class Transport(Protocol):
    async def carry(self, delivery: Delivery, reason: str | None, seconds: float) -> None:
        """Make one attempt and write into `delivery` what came of it."""


def sign(secret: str, timestamp: str, body: bytes) -> str:
    """Signature of a request.

    Source: https://docs.slack.dev/authentication/verifying-requests-from-slack
    """
    base = b"v0:" + timestamp.encode() + b":" + body
    return "v0=" + hmac.new(secret.encode(), base, hashlib.sha256).hexdigest()


def encode(kind: DeliveryKind, payload: Json) -> tuple[bytes, str]:
    """Body and content type: events are JSON, presses a form with one field, commands a form."""
    if kind == "event":
        return json.dumps(payload, ensure_ascii=False).encode(), _JSON
    if kind == "interactive":
        return urlencode({"payload": json.dumps(payload)}).encode(), _FORM
    return urlencode(payload).encode(), _FORM


class Http:
    """Signed POSTs to the app's addresses. The signature's time is the host's clock."""

    def __init__(self, secret: str) -> None:
        self.secret = secret
        self.urls: dict[DeliveryKind, str | None] = {}
        self._session: aiohttp.ClientSession | None = None

    async def carry(self, delivery: Delivery, reason: str | None, seconds: float) -> None:
        url = self.urls.get(delivery.kind)
        if url is None:
            delivery.reason = "connection_failed"
            return
        body, content_type = encode(delivery.kind, delivery.payload)
        timestamp = str(int(time.time()))
        headers = {
            "Content-Type": content_type,
            "X-Slack-Request-Timestamp": timestamp,
            "X-Slack-Signature": sign(self.secret, timestamp, body),
        }
        if delivery.attempt:
            headers["x-slack-retry-num"] = str(delivery.attempt)
            headers["x-slack-retry-reason"] = str(reason)
        await self._post(delivery, url, body, headers, aiohttp.ClientTimeout(total=seconds))

    async def _post(
        self,
        delivery: Delivery,
        url: str,
        body: bytes,
        headers: dict[str, str],
        limit: aiohttp.ClientTimeout,
    ) -> None:
        try:
            async with self._client().post(
                url, data=body, headers=headers, timeout=limit, max_redirects=_REDIRECTS
            ) as answer:
                delivery.status = answer.status
                delivery.body = await answer.text()
                delivery.ok = 200 <= answer.status < 300
                delivery.no_retry = answer.headers.get("x-slack-no-retry") == "1"
                delivery.reason = None if delivery.ok else "http_error"
        except TimeoutError:
            delivery.status, delivery.reason = None, "http_timeout"
        except aiohttp.TooManyRedirects:
            delivery.reason = "too_many_redirects"
        except aiohttp.ClientSSLError:
            delivery.reason = "ssl_error"
        except (aiohttp.ClientConnectionError, ConnectionError):
            delivery.status, delivery.reason = None, "connection_failed"
        except aiohttp.ClientError:
            delivery.status, delivery.reason = None, "unknown_error"

    def _client(self) -> aiohttp.ClientSession:
        if self._session is None:
            # No proxy from the environment: the app is on this machine. A new connection
            # each time: a kept one to an app that was killed meanwhile would fail the first
            # press after its restart, and a press is not resent.
            connector = aiohttp.TCPConnector(limit=0, force_close=True)
            self._session = aiohttp.ClientSession(trust_env=False, connector=connector)
        return self._session

    async def close(self) -> None:
        if self._session is not None:
            await self._session.close()
            self._session = None


class OverSockets:
    """Envelopes; an acknowledgement counts as 200."""

    def __init__(self, sockets: Sockets) -> None:
        self.sockets = sockets

    async def carry(self, delivery: Delivery, reason: str | None, seconds: float) -> None:
        kind = _ENVELOPES[delivery.kind]
        try:
            answer = await self.sockets.send(
                kind,
                delivery.payload,
                attempt=delivery.attempt,
                reason=reason or "",
                seconds=seconds,
            )
        except ConnectionError:
            delivery.reason = "connection_failed"
            return
        if answer is None:
            delivery.reason = "timeout"
            return
        delivery.status, delivery.ok = 200, True
        delivery.body = "" if answer.payload is None else json.dumps(answer.payload)
