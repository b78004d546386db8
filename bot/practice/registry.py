"""The simulated registry: tells the bot by webhook that a unit has registered."""

import base64
import hashlib
import hmac
import json
import time
from datetime import UTC, datetime

import aiohttp

from bot.practice.scene import SOURCE, WEBHOOK_SECRET


class Registry:
    """Signs and sends CloudEvents until each is taken.

    ``answered`` holds what the bot answered 2xx for, as (event id, serial), in that order;
    ``waiting`` what it has not taken yet.
    """

    def __init__(self, url: str) -> None:
        self.url = url
        self.waiting: dict[str, bytes] = {}
        self.answered: list[tuple[str, str]] = []
        self._session: aiohttp.ClientSession | None = None

    async def registered(self, serial: str, at: int) -> bool:
        """Tell it; ``at`` is wave time in ms. Gives whether it was taken."""
        event = {
            "specversion": "1.0",
            "id": f"{serial}-{at}",
            "source": "https://registry.example.org/units",
            "type": "org.example.unit.registered",
            "time": datetime.fromtimestamp(at / 1000, UTC).isoformat(),
            "datacontenttype": "application/json",
            "data": {"serial": serial},
        }
        self.waiting[event["id"]] = json.dumps(event).encode()  # type: ignore[index]
        return await self.send_waiting()

    async def send_waiting(self) -> bool:
        """Send what was not taken yet, in order; whether nothing is left."""
        for event_id in list(self.waiting):
            if not await self._send(event_id, self.waiting[event_id]):
                return False
            del self.waiting[event_id]
            self.answered.append((event_id, event_id.rpartition("-")[0]))
        return True

    @property
    def taken(self) -> int:
        return len(self.answered)

    async def _send(self, event_id: str, body: bytes) -> bool:
        if self._session is None:
            self._session = aiohttp.ClientSession(trust_env=False)
        headers = signed_headers(event_id, body)
        try:
            async with self._session.post(
                f"{self.url}/registrations/{SOURCE}", data=body, headers=headers
            ) as answer:
                return 200 <= answer.status < 300
        except (aiohttp.ClientError, TimeoutError):
            return False

    async def close(self) -> None:
        if self._session is not None:
            await self._session.close()


def signed_headers(event_id: str, body: bytes) -> dict[str, str]:
    """The headers of a signed CloudEvent in structured mode, signed now."""
    stamp = int(time.time())
    return {
        "Content-Type": "application/cloudevents+json",
        "webhook-id": event_id,
        "webhook-timestamp": str(stamp),
        "webhook-signature": _signature(event_id, stamp, body),
    }


def _signature(event_id: str, stamp: int, body: bytes) -> str:
    """Standard Webhooks, symmetric. The sender's side, written apart from the receiver's."""
    key = base64.b64decode(WEBHOOK_SECRET.removeprefix("whsec_"))
    digest = hmac.new(key, f"{event_id}.{stamp}.".encode() + body, hashlib.sha256).digest()
    return "v1," + base64.b64encode(digest).decode()
