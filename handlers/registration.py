"""Registrations over HTTP: which form it is, who sends it, what becomes of it, and the answer.

``POST /registrations/SOURCE`` takes CloudEvents 1.0 (structured, batched, binary), progress reports
of RFC 8572 and, where the source has a mapping, any other JSON. ``OPTIONS`` on it is the validation
handshake of the CloudEvents HTTP webhook specification 1.0.2, section 4. Errors are problem details
of RFC 9457, for progress reports those of RFC 8040. 2xx only after the commit.
"""

import asyncio
import logging
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import quote

import msgspec
from aiohttp import web

from bot.desk import Desk
from bot.intake_settings import RegistrationSettings
from bot.store.errors import StoreAway, StoreError
from handlers.clock import Now
from handlers.intake import cloudevents, mapped, progress, restconf
from handlers.intake.limits import HEADERS, json_of
from handlers.intake.problems import Refused, problem, refused
from handlers.intake.receive import Intake
from handlers.intake.sighting import Sighting
from handlers.intake.trust import Caller, Source, Trust, is_here

_log = logging.getLogger("musterline.registration")
_encode = msgspec.json.Encoder().encode
_REPORTS = progress.JSON | progress.XML


class RegistrationIn:
    """All ways in. ``wall`` gives process time in seconds, for signatures."""

    def __init__(
        self,
        desk: Desk,
        settings: RegistrationSettings,
        now: Now,
        wall: Callable[[], float] = time.time,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.settings = settings
        self.trust = Trust(settings, wall, clock)
        self.intake = Intake(desk, now, clock)
        self._events = cloudevents.CloudEvents(settings)
        self._mappings = {
            s.name: mapped.load(Path(s.mapping)) for s in settings.sources if s.mapping
        }
        if not settings.sources:
            _log.warning(
                "no registration is taken: there are no registration.sources in the settings."
            )

    # --- POST ------------------------------------------------------------------------------

    async def post(self, request: web.Request) -> web.Response:
        """``POST /registrations/SOURCE``."""
        fail = restconf.errors if request.content_type in _REPORTS else _problem
        try:
            return await self._take(request)
        except Refused as error:
            return fail(error, request)
        except StoreError as error:
            return fail(_later(error), request)

    async def report(self, request: web.Request) -> web.Response:
        """``POST /restconf/operations/ietf-sztp-bootstrap-server:report-progress``."""
        try:
            body = await self._body(request)
            caller = self.trust.unit(request)
            return await self._report(request, caller, body)
        except Refused as error:
            return restconf.errors(error, request)
        except StoreError as error:
            return restconf.errors(_later(error), request)

    async def _take(self, request: web.Request) -> web.Response:
        source = self.trust.source(request.match_info["source"])
        body = await self._body(request)
        caller = self.trust.caller(source, request, body)
        content_type = request.content_type
        if content_type == cloudevents.STRUCTURED:
            return await self._one(source, self._events.structured(body))
        if content_type == cloudevents.BATCHED:
            return await self._batch(source, self._events.batch(body))
        if content_type in _REPORTS and source.settings.progress:
            return await self._report(request, caller, body)
        if "ce-specversion" in request.headers:
            headers = request.headers
            seen = self._events.binary(headers, content_type, body, caller.signed)
            return await self._one(source, seen)
        mapping = self._mappings.get(source.name)
        if mapping is not None and _is_json(content_type):
            depth = self.settings.depth_limit
            return await self._one(source, mapping.sighting(json_of(body, depth)))
        raise Refused(415, f"Send {self._forms(source)}.")

    async def _one(self, source: Source, seen: Sighting) -> web.Response:
        outcome = await self.intake.take(source.name, seen)
        return web.Response(
            body=_encode({"outcome": outcome}), status=202, content_type="application/json"
        )

    async def _report(self, request: web.Request, caller: Caller, body: bytes) -> web.Response:
        """204 without a body, as RFC 8040 section 3.6.2 has it where there is no output."""
        depth = self.settings.depth_limit
        seen = progress.reported(request.content_type, body, caller.user, depth)
        if not is_here(request):  # else it came by a proxy of ours, and tells nothing of the unit
            seen = seen._replace(address=request.remote or "")
        await self.intake.take(caller.source.name, seen)
        return web.Response(status=204)

    async def _batch(self, source: Source, events: list[Sighting | Refused]) -> web.Response:
        """200 with a result for each, once each is final; else none is, and all come again.

        Those of one unit go in their order, others side by side.
        """
        results: list[dict[str, Any]] = [{} for _ in events]
        units: dict[str, list[int]] = {}
        for number, event in enumerate(events):
            key = event.serial if isinstance(event, Sighting) else f"/{number}"
            units.setdefault(key, []).append(number)

        async def in_order(numbers: list[int]) -> None:
            for number in numbers:
                results[number] = await self._result(source, events[number])

        done = await asyncio.gather(*map(in_order, units.values()), return_exceptions=True)
        for error in done:
            if isinstance(error, BaseException):
                raise error
        return web.Response(
            body=_encode({"results": results}), status=200, content_type="application/json"
        )

    async def _result(self, source: Source, event: Sighting | Refused) -> dict[str, Any]:
        try:
            if isinstance(event, Refused):
                raise event
            return {"status": 202, "outcome": await self.intake.take(source.name, event)}
        except Refused as error:
            return {"status": error.status, "detail": error.detail}

    # --- the handshake -----------------------------------------------------------------------

    async def options(self, request: web.Request) -> web.Response:
        """Whether a sender may deliver here, and how fast; consent is in the headers alone."""
        headers = {"Allow": "POST, OPTIONS"}
        source = self.trust.sources.get(request.match_info["source"])
        origin = request.headers.get("WebHook-Request-Origin", "")
        if source is not None and _is_origin(origin):
            allowed = source.settings.origins
            if not allowed or origin.lower() in {name.lower() for name in allowed}:
                headers["WebHook-Allowed-Origin"] = origin
                headers["WebHook-Allowed-Rate"] = str(source.settings.rate or "*")
        return web.Response(status=200, headers=headers)

    # --- parts -------------------------------------------------------------------------------

    async def _body(self, request: web.Request) -> bytes:
        limit = self.settings.body_limit
        if len(request.headers) > HEADERS:
            raise Refused(431, f"More than {HEADERS} header fields.")
        if request.headers.get("Content-Encoding", "identity") != "identity":
            raise Refused(
                415, "Send the body without a content coding.", Accept_Encoding="identity"
            )
        if request.content_length is not None and request.content_length > limit:
            raise Refused(413, f"The body is larger than {limit} bytes.")
        try:
            body = await request.read()
        except web.HTTPRequestEntityTooLarge:
            raise Refused(413, f"The body is larger than {limit} bytes.") from None
        except (web.RequestPayloadError, ConnectionError):
            raise Refused(400, "The body ended early, or was not sent as HTTP has it.") from None
        if len(body) > limit:
            raise Refused(413, f"The body is larger than {limit} bytes.")
        return body

    def _forms(self, source: Source) -> str:
        forms = [cloudevents.STRUCTURED, cloudevents.BATCHED, "a CloudEvent in ce- headers"]
        if source.settings.progress:
            forms.append("application/yang-data+json or +xml")
        if source.name in self._mappings:
            forms.append("application/json")
        return ", ".join(forms)


def fact_id(source: str, event: dict[str, Any]) -> str:
    """The id of the fact that a structured or unsigned CloudEvent becomes."""
    return f"reg:{source}:{quote(event['source'])}:{event['id']}"


def _is_json(content_type: str) -> bool:
    return content_type == "application/json" or content_type.endswith("+json")


def _is_origin(text: str) -> bool:
    """A DNS name, as the handshake has it; what it says is said back in a header."""
    return 0 < len(text) <= 253 and text.isascii() and all(c.isalnum() or c in ".-_*" for c in text)


def _later(error: StoreError) -> Refused:
    if isinstance(error, StoreAway):
        return Refused(503, "The store is away; send it again.", Retry_After="5")
    _log.error("the store refused a registration: %s", error)
    return Refused(503, "The store does not take it now; send it again.", Retry_After="5")


def _problem(error: Refused, _: web.Request) -> web.Response:
    return refused(error)


__all__ = ["RegistrationIn", "fact_id", "problem"]
