"""Registrations in: CloudEvents 1.0 structured JSON, signed by Standard Webhooks.

Sources: CloudEvents 1.0.2, JSON event format and HTTP binding (structured mode); the Standard
Webhooks specification 1.0.0 (headers ``webhook-id``, ``webhook-timestamp``,
``webhook-signature``). Errors are problem details of RFC 9457. 2xx only after the commit.
"""

import logging
import time
from collections.abc import Callable
from typing import Any
from urllib.parse import quote

import msgspec
from aiohttp import web

from bot.desk import Desk
from bot.model.fact import Registered
from bot.model.subject import ASIDE
from bot.settings import RegistrationSettings
from bot.store.errors import StoreAway, StoreError
from handlers.clock import Now
from handlers.routing import expecting
from handlers.signing import BadSignature, verify

_log = logging.getLogger("musterline.registration")
_STRUCTURED = "application/cloudevents+json"
_RETRY_SECONDS = "5"


class Refused(Exception):
    """The request is answered with this status and one sentence; nothing was done."""

    def __init__(self, status: int, detail: str) -> None:
        super().__init__(detail)
        self.status, self.detail = status, detail


class RegistrationIn:
    """``POST /registrations/SOURCE``. ``wall`` gives process time in seconds, for signatures."""

    def __init__(
        self,
        desk: Desk,
        settings: RegistrationSettings,
        now: Now,
        wall: Callable[[], float] = time.time,
    ) -> None:
        self._desk, self._settings, self._now, self._wall = desk, settings, now, wall
        self._secrets = {
            s.name: tuple(secret.get_secret_value() for secret in s.secrets)
            for s in settings.sources
        }

    async def post(self, request: web.Request) -> web.Response:
        try:
            answer = await self._take(request)
        except Refused as refused:
            return problem(refused.status, refused.detail)
        except StoreAway:
            return problem(503, "The store is away; send it again.", retry=True)
        except StoreError as error:
            _log.error("the store refused a registration: %s", error)
            return problem(503, "The store does not take it now; send it again.", retry=True)
        return web.json_response({"outcome": answer}, status=202)

    async def _take(self, request: web.Request) -> str:
        source = request.match_info["source"]
        secrets = self._secrets.get(source)
        if secrets is None:
            raise Refused(404, f"There is no source {source!r}; see registration.sources.")
        body = await self._body(request)
        try:
            verify(request.headers, body, secrets, self._wall(), self._settings.tolerance_seconds)
        except BadSignature as error:
            raise Refused(401, str(error)) from None
        event = parse_event(request.content_type, body)
        kind = self._kind(event)
        serial = find_serial(event, self._settings.serial)
        subject, loaded = await expecting(self._desk, serial) or (ASIDE, None)
        outcome = await self._desk.receive(
            Registered(
                id=fact_id(source, event),
                subject=subject,
                received_at=self._now(),
                serial=serial,
                source=source,
                kind=kind,
                detail={"type": event["type"], "time": str(event.get("time", ""))},
            ),
            loaded,
        )
        if subject == ASIDE and await self._expected_after_all(serial):
            return "ok"
        return "repeat" if outcome.again else outcome.answer

    async def _expected_after_all(self, serial: str) -> bool:
        """Whether the index has come to know the serial while the registration was kept aside."""
        found = await expecting(self._desk, serial)
        return found is not None and await self._desk.expects(serial, found[0]) > 0

    async def _body(self, request: web.Request) -> bytes:
        limit = self._settings.body_limit
        if request.content_length is not None and request.content_length > limit:
            raise Refused(413, f"The body is larger than {limit} bytes.")
        try:
            return await request.read()
        except web.HTTPRequestEntityTooLarge:
            raise Refused(413, f"The body is larger than {limit} bytes.") from None

    def _kind(self, event: dict[str, Any]) -> Any:
        if event["type"] in self._settings.registered_types:
            return "registered"
        if event["type"] in self._settings.lost_types:
            return "lost"
        raise Refused(
            422, f"type {event['type']!r} is not one we act on; see registration.registered_types."
        )


def parse_event(content_type: str, body: bytes) -> dict[str, Any]:
    """A CloudEvent in structured JSON. Raises ``Refused`` with the right status."""
    if content_type != _STRUCTURED:
        raise Refused(415, f"Send {_STRUCTURED} (structured mode), not {content_type}.")
    try:
        event = msgspec.json.decode(body)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        raise Refused(400, "The body is not valid JSON.") from None
    if not isinstance(event, dict):
        raise Refused(400, "The body is not a JSON object.")
    for name in ("id", "source", "specversion", "type"):
        if not isinstance(event.get(name), str) or not event[name]:
            raise Refused(400, f"{name} is missing: CloudEvents asks for a text that is not empty.")
        if len(event[name]) > 512:
            raise Refused(400, f"{name} is longer than 512 characters.")
    if event["specversion"] != "1.0":
        raise Refused(400, f"specversion {event['specversion']!r} is not 1.0.")
    return event


def fact_id(source: str, event: dict[str, Any]) -> str:
    """Source and id together make an event distinct (CloudEvents 1.0.2, "source" and "id")."""
    return f"reg:{source}:{quote(event['source'])}:{event['id']}"


def find_serial(event: dict[str, Any], paths: tuple[str, ...]) -> str:
    """The serial, at the first of ``paths`` (dots go into objects) that holds a text."""
    for path in paths:
        value: Any = event
        for key in path.split("."):
            value = value.get(key) if isinstance(value, dict) else None
        if isinstance(value, str) and value.strip():
            if len(value) > 128:
                raise Refused(422, f"The serial at {path} is longer than 128 characters.")
            return value.strip()
    raise Refused(422, f"There is no serial at {' or '.join(paths)}; see registration.serial.")


def problem(status: int, detail: str, *, retry: bool = False) -> web.Response:
    """Problem details of RFC 9457."""
    headers = {"Retry-After": _RETRY_SECONDS} if retry else {}
    return web.json_response(
        {"type": "about:blank", "status": status, "detail": detail},
        status=status,
        content_type="application/problem+json",
        headers=headers,
    )
