"""Outgoing webhooks: a CloudEvent, signed, to whatever can ring a telephone.

At least once, under an id that stays the same for a message, so that a receiver can drop the
second. Sources: CloudEvents 1.0.2 (JSON event format, structured mode; HTTP binding 3.2) and
Standard Webhooks 1.0.0 (the three headers; only 2xx is a success; redirects are not followed; 410
means that nothing more is wanted there). RFC 9110, sections 10.2.3 (Retry-After) and 15 (status).
"""

import hashlib
import json
import ssl
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

import aiohttp

from bot.send.chat import proxy_for
from bot.send.errors import Passing, PersonAway
from bot.send.signing import Signer

CONTENT_TYPE = "application/cloudevents+json; charset=utf-8"
#: Most that a receiver may ask us to wait, ms: a call is not worth more patience.
_LONGEST_WAIT = 60_000
#: Answers that may be otherwise the next time.
_TRY_AGAIN = frozenset({408, 425, 429})


@dataclass(frozen=True)
class Target:
    """One receiver. ``url`` may hold a secret of theirs, so it is never shown. Seconds."""

    name: str
    url: str = field(repr=False)
    signer: Signer = field(repr=False)
    timeout: float = 10.0


def event_id(message: str) -> str:
    """The same for every attempt. A hash: dots divide what is signed, and sites may have some."""
    return "msg_" + hashlib.sha256(message.encode()).hexdigest()[:32]


class WebhookOut:
    """Sends to the targets of the settings. ``source`` and ``types`` name us in the events."""

    def __init__(
        self,
        targets: Sequence[Target],
        *,
        source: str,
        types: str,
        deadline: float = 10.0,
        now: Callable[[], float] = time.time,
    ) -> None:
        self._targets = {target.name: target for target in targets}
        self._source, self._types, self._deadline, self._now = source, types, deadline, now
        self._session: aiohttp.ClientSession | None = None

    def event(self, kind: str, ident: str, at: int, data: Mapping[str, Any]) -> dict[str, Any]:
        """The event as it is sent. ``at``: ms UTC, when it was decided."""
        subject = data.get("call") or data.get("test") or ""
        made = {
            "specversion": "1.0",
            "id": event_id(ident),
            "source": self._source,
            "type": f"{self._types}.{kind}",
            "time": _instant(at),
            "datacontenttype": "application/json",
            "data": dict(data),
        }
        return made | ({"subject": str(subject)} if subject else {})

    async def send(
        self, name: str, kind: str, *, ident: str, at: int, data: Mapping[str, Any]
    ) -> str:
        """Send; the event's id. Raises ``Passing`` for what is worth another try (an unknown
        outcome too: the id is the same), ``PersonAway`` for what is not."""
        target = self._targets.get(name)
        if target is None:
            raise PersonAway(f"no webhook {name} is set")
        event = self.event(kind, ident, at, data)
        body = json.dumps(event, ensure_ascii=False).encode()
        headers = target.signer.headers(event["id"], int(self._now()), body)
        try:
            async with self._open().post(
                target.url,
                data=body,
                headers={"Content-Type": CONTENT_TYPE, **headers},
                allow_redirects=False,
                timeout=aiohttp.ClientTimeout(total=min(target.timeout, self._deadline)),
                proxy=proxy_for(target.url),
            ) as answer:
                _sort(name, answer)
        except (aiohttp.ClientConnectorCertificateError, ssl.SSLCertVerificationError):
            raise PersonAway(f"webhook {name}: its certificate is not good") from None
        except (aiohttp.ClientError, OSError, TimeoutError) as error:
            # The library's words may hold the address, and with it a secret.
            raise Passing(f"webhook {name}: {type(error).__name__}") from None
        return str(event["id"])

    def _open(self) -> aiohttp.ClientSession:
        if self._session is None or self._session.closed:
            self._session = aiohttp.ClientSession(
                trust_env=False, cookie_jar=aiohttp.DummyCookieJar()
            )
        return self._session

    async def close(self) -> None:
        if self._session is not None:
            await self._session.close()


def _sort(name: str, answer: aiohttp.ClientResponse) -> None:
    """Nothing for a success, else the error that it is."""
    status = answer.status
    if 200 <= status < 300:
        return
    why = f"webhook {name}: answered {status}"
    if status >= 500 or status in _TRY_AGAIN:
        raise Passing(why, _asked(answer.headers.get("Retry-After", "")))
    raise PersonAway(why)  # 410 Gone as well: it takes nothing more; redirects are not followed


def _asked(header: str) -> int | None:
    """How long (ms) the receiver asks us to wait, where it says so in seconds."""
    if not header.isascii() or not header.isdigit() or len(header) > 9:
        return None
    return min(int(header) * 1000, _LONGEST_WAIT)


def _instant(at: int) -> str:
    return datetime.fromtimestamp(at / 1000, UTC).isoformat().replace("+00:00", "Z")
