"""The HTTP side: chat requests handed to the framework, registrations, health."""

import json
import logging
from collections.abc import Sequence
from urllib.parse import parse_qs

from aiohttp import web
from aiohttp.http_exceptions import HttpProcessingError
from aiohttp.typedefs import Handler, Middleware
from slack_bolt.adapter.aiohttp import to_aiohttp_response, to_bolt_request

from bot.access import PATH
from bot.press_links import PATH as PRESS_PATH
from bot.store.probe import Probe, nothing
from handlers.chat import ChatIn
from handlers.health import Check
from handlers.health import routes as health_routes
from handlers.intake import openapi, restconf
from handlers.intake.problems import problem
from handlers.intake.progress import OPERATION
from handlers.page.routes import PageIn
from handlers.proxy import believed
from handlers.registration import RegistrationIn

_log = logging.getLogger("musterline.http")
CHAT_PATH = "/chat/events"
#: What follows is a private link.
PRIVATE = (PATH, PRESS_PATH)


def application(
    *,
    chat: ChatIn | None,
    registration: RegistrationIn,
    check: Check,
    body_limit: int,
    trust_proxy: Sequence[str] = (),
    more: Sequence[web.RouteDef] = (),
    probe: Probe = nothing,
    page: PageIn | None = None,
) -> web.Application:
    """The application; ``chat`` is ``None`` in socket mode, where nothing comes in by HTTP."""
    probed = () if probe is nothing else (_probed(probe),)
    app = web.Application(
        client_max_size=max(body_limit, 1_048_576),
        middlewares=(*probed, believed(trust_proxy), refusals),
    )
    app.add_routes(health_routes(check))
    app.add_routes(more)
    _add_registrations(app.router, registration)
    if page is not None:
        app.add_routes(page.routes())
    if chat is not None:
        app.router.add_post(CHAT_PATH, _ChatRequests(chat).post)
    return app


def _add_registrations(router: web.UrlDispatcher, registration: RegistrationIn) -> None:
    place = router.add_resource("/registrations/{source}")
    place.add_route("POST", registration.post)
    place.add_route("OPTIONS", registration.options)
    router.add_get(openapi.PATH, openapi.Served(registration.settings).get)
    if any(source.progress for source in registration.settings.sources):
        router.add_post(f"{restconf.ROOT}/operations/{OPERATION}", registration.report)
        router.add_get(restconf.HOST_META, restconf.host_meta)


def _probed(probe: Probe) -> Middleware:
    """Passes the points between which a request has come in and is not acknowledged yet."""

    @web.middleware
    async def around(request: web.Request, handler: Handler) -> web.StreamResponse:
        probe("request.before")
        answer = await handler(request)
        probe("ack.before")
        return answer

    return around


def no_http(record: logging.LogRecord) -> bool:
    """A filter for the server's log: what was no HTTP is one line, without what was sent.

    The library would show the bytes, and a header that is broken may hold a token.
    """
    error = record.exc_info[1] if record.exc_info else None
    if isinstance(error, HttpProcessingError):
        record.exc_info = record.exc_text = None
        record.msg += f": it was no HTTP ({type(error).__name__})"
        record.levelno, record.levelname = logging.WARNING, "WARNING"
    return True


@web.middleware
async def refusals(request: web.Request, handler: Handler) -> web.StreamResponse:
    """Whom we refuse is in the log, with the address the request came from."""
    answer: web.StreamResponse
    try:
        answer = await handler(request)
    except web.HTTPMethodNotAllowed as error:
        allowed = ", ".join(sorted(error.allowed_methods))
        answer = problem(405, f"Not by {error.method}.", headers={"Allow": allowed})
    except web.HTTPNotFound:
        answer = problem(404, "There is nothing here.")
    if 400 <= answer.status < 500:
        path = request.rel_url.raw_path[:200]  # as it was sent: no line of the log but one
        private = next((p for p in PRIVATE if path.startswith(p)), "")
        if private:  # what opens a page is in no log
            path = f"{private}..."
        _log.warning("%s to %s from %s", answer.status, path, request.remote)
    return answer


class _ChatRequests:
    """Refuses with 4xx what would make the framework fail before it checks the signature."""

    def __init__(self, chat: ChatIn) -> None:
        self._chat = chat

    async def post(self, request: web.Request) -> web.StreamResponse:
        stamp = request.headers.get("X-Slack-Request-Timestamp", "")
        if not stamp.isascii() or not stamp.isdigit() or len(stamp) > 12:
            return problem(401, "X-Slack-Request-Timestamp is not a number of seconds.")
        body = await request.read()
        if not _readable(request.content_type, body):
            return problem(400, "The body is neither JSON nor a form with a JSON payload.")
        answer = await self._chat.app.async_dispatch(await to_bolt_request(request))
        return await to_aiohttp_response(answer)


def _readable(content_type: str, body: bytes) -> bool:
    try:
        text = body.decode()
        if content_type == "application/x-www-form-urlencoded":
            payload = parse_qs(text).get("payload")
            return payload is None or isinstance(json.loads(payload[0]), dict)
        return isinstance(json.loads(text), dict)
    except (ValueError, RecursionError):
        return False
