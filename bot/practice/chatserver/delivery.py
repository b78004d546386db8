"""Sends signed requests to the app, and resends events that were not acknowledged.

Sources: "Verifying requests from Slack",
https://docs.slack.dev/authentication/verifying-requests-from-slack (v0 signature);
"The Events API", https://docs.slack.dev/apis/events-api/ ("Responding to events": 2xx
within three seconds; "Retries": nearly immediately, after 1 minute, after 5 minutes;
x-slack-retry-num, x-slack-retry-reason; x-slack-no-retry: 1 turns retries off).
"""

import asyncio
import hashlib
import heapq
import hmac
import itertools
import json
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal
from urllib.parse import urlencode

import aiohttp

from bot.practice.chatserver.answers import Json

DeliveryKind = Literal["event", "interactive", "command"]
ACK_SECONDS = 3.0
RETRY_AFTER = (0, 60_000, 300_000)  # ms of wave time after the failure before it

_JSON = "application/json"
_FORM = "application/x-www-form-urlencoded"


@dataclass
class Delivery:
    """One request to the app and what came of it.

    ok: answered 2xx within three seconds. status None: no answer at all; `reason` then says
    why, in the words of x-slack-retry-reason.
    """

    kind: DeliveryKind
    body: str = ""
    status: int | None = None
    ok: bool = False
    reason: str | None = None
    attempt: int = 0
    payload: Json = field(default_factory=dict)
    no_retry: bool = False


def sign(secret: str, timestamp: str, body: bytes) -> str:
    base = b"v0:" + timestamp.encode() + b":" + body
    return "v0=" + hmac.new(secret.encode(), base, hashlib.sha256).hexdigest()


def encode(kind: DeliveryKind, payload: Json) -> tuple[bytes, str]:
    """Body and content type: events are JSON, presses a form with one field, commands a form."""
    if kind == "event":
        return json.dumps(payload, ensure_ascii=False).encode(), _JSON
    if kind == "interactive":
        return urlencode({"payload": json.dumps(payload)}).encode(), _FORM
    return urlencode(payload).encode(), _FORM


class Sender:
    """Sends to the app over HTTP. Redeliveries wait in wave time until `deliver_due`."""

    def __init__(self, clock: Callable[[], int], secret: str) -> None:
        self.clock = clock
        self.secret = secret
        self.ack_seconds = ACK_SECONDS
        self.urls: dict[DeliveryKind, str | None] = {}
        self.in_flight = 0
        self.lost: list[Json] = []
        self.log: list[Delivery] = []
        self._due: list[tuple[int, int, Json, int, str]] = []
        self._order = itertools.count()
        self._session: aiohttp.ClientSession | None = None

    @property
    def waiting(self) -> int:
        return len(self._due)

    def next_due(self) -> int | None:
        """Wave time (ms) of the earliest redelivery, None when there is none."""
        return self._due[0][0] if self._due else None

    async def deliver_due(self, now: int) -> int:
        """Send the redeliveries due at `now` (ms), side by side; how many were sent."""
        ready = []
        while self._due and self._due[0][0] <= now:
            ready.append(heapq.heappop(self._due))
        sends = [self.event(payload, attempt, why) for _, _, payload, attempt, why in ready]
        await asyncio.gather(*sends)
        return len(ready)

    async def event(self, payload: Json, attempt: int = 0, why: str | None = None) -> Delivery:
        """Send an event; when it is not acknowledged, keep its redelivery."""
        headers = {"x-slack-retry-num": str(attempt), "x-slack-retry-reason": str(why)}
        delivery = await self.send("event", payload, headers if attempt else {})
        delivery.attempt = attempt
        if delivery.ok or delivery.no_retry:
            return delivery
        if attempt >= len(RETRY_AFTER):
            self.lost.append(payload)
            return delivery
        due = self.clock() + RETRY_AFTER[attempt]
        reason = delivery.reason or "unknown_error"
        heapq.heappush(self._due, (due, next(self._order), payload, attempt + 1, reason))
        return delivery

    async def send(
        self, kind: DeliveryKind, payload: Json, headers: dict[str, str] | None = None
    ) -> Delivery:
        """One signed request; the signature's time is process time (the host's clock)."""
        delivery = Delivery(kind, payload=payload)
        self.log.append(delivery)
        url = self.urls.get(kind)
        if url is None:
            delivery.reason = "connection_failed"
            return delivery
        body, content_type = encode(kind, payload)
        timestamp = str(int(time.time()))
        signed = {
            "Content-Type": content_type,
            "X-Slack-Request-Timestamp": timestamp,
            "X-Slack-Signature": sign(self.secret, timestamp, body),
            **(headers or {}),
        }
        self.in_flight += 1
        try:
            await self._post(delivery, url, body, signed)
        finally:
            self.in_flight -= 1
        return delivery

    async def _post(
        self, delivery: Delivery, url: str, body: bytes, headers: dict[str, str]
    ) -> None:
        limit = aiohttp.ClientTimeout(total=self.ack_seconds)
        try:
            async with self._client().post(
                url, data=body, headers=headers, timeout=limit, max_redirects=2
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
        except aiohttp.ClientConnectionError:
            delivery.reason = "connection_failed"
        except aiohttp.ClientError:
            delivery.reason = "unknown_error"

    def _client(self) -> aiohttp.ClientSession:
        if self._session is None:
            # No proxy from the environment: the app is on this machine.
            self._session = aiohttp.ClientSession(
                trust_env=False, connector=aiohttp.TCPConnector(limit=0)
            )
        return self._session

    async def close(self) -> None:
        if self._session is not None:
            await self._session.close()
            self._session = None
