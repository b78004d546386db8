"""The Web API over HTTP: reads the call, checks the token, plays faults, answers."""

import json
from collections.abc import Callable
from dataclasses import dataclass, field

from aiohttp import web

from bot.practice.chatserver.answers import Args, Json, RateLimited, Refused
from bot.practice.chatserver.faults import Fault, Faults
from bot.practice.chatserver.methods import METHODS, Call, Rules
from bot.practice.chatserver.ratelimit import RateLimits
from bot.practice.chatserver.specs import SPECS, Spec
from bot.practice.chatserver.state import Workspace


@dataclass
class ApiCall:
    """One Web API call as it came: `at` is wave time (ms).

    done: what it asks for was carried out. dropped: the connection was cut, no answer left.
    text: the answer as it stood when it was made, None while there is none.
    """

    method: str
    args: Json
    at: int
    status: int = 200
    done: bool = False
    dropped: bool = False
    headers: dict[str, str] = field(default_factory=dict)
    text: str | None = None

    @property
    def answer(self) -> Json | None:
        """The answer, whether it left or not."""
        if self.text is None:
            return None
        answer: Json = json.loads(self.text)
        return answer

    @property
    def error(self) -> str | None:
        """The error word of the answer, if it is one."""
        answer = self.answer
        return None if answer is None else answer.get("error")

    def give(self, answer: Json, status: int = 200) -> None:
        self.text, self.status = json.dumps(answer), status


@dataclass
class WebApi:
    """Answers calls. `settle` is called after each that was done."""

    workspace: Workspace
    limits: RateLimits
    faults: Faults
    bot_token: str
    app_token: str
    scopes: frozenset[str]
    strict: bool
    settle: Callable[[], None]
    socket_url: Callable[[], str]
    rules: Rules = field(default_factory=Rules)
    open_calls: int = 0
    calls: list[ApiCall] = field(default_factory=list)

    async def handle(self, request: web.Request) -> web.StreamResponse:
        method = request.match_info["method"]
        try:
            values = await _read(request)
        except Refused as refused:
            return web.json_response(refused.answer())
        token = _token(request, values, header_only=method == "apps.connections.open")
        call = ApiCall(method, values, self.workspace.clock())
        self.calls.append(call)
        fault = self.faults.next_for(method)
        if fault is None:
            self._answer(call, token)
            return self._response(call)
        self.open_calls += 1
        try:
            return await self._faulty(request, call, token, fault)
        finally:
            self.open_calls -= 1

    async def _faulty(
        self, request: web.Request, call: ApiCall, token: str, fault: Fault
    ) -> web.StreamResponse:
        kind = fault.kind
        if kind == "late_before":
            await fault.hold()
        if kind in {"drop_after", "late", "late_before"}:
            self._answer(call, token)
        if kind in {"drop_before", "drop_after"}:
            return _cut(request, call)
        if kind == "late":
            await fault.hold()
        if kind == "error":
            call.give({"ok": False, "error": fault.error})
        if kind == "http_500":
            call.give({"ok": False, "error": "internal_error"}, 500)
        if kind == "rate_limit":
            _limited(call, fault.retry_after)
        return self._response(call)

    def _answer(self, call: ApiCall, token: str) -> None:
        try:
            call.give(self._perform(call, token))
            call.done = True
        except Refused as refused:
            call.give(refused.answer())
        except RateLimited as limited:
            _limited(call, limited.retry_after)
        self.settle()

    def _perform(self, call: ApiCall, token: str) -> Json:
        spec = SPECS.get(call.method)
        if spec is None:
            raise Refused("unknown_method", req_method=call.method)
        self._check_token(call.method, token)
        self.limits.call(call.method, spec.tier)
        self._check_scope(spec)
        self._check_args(spec, call.args)
        if call.method == "apps.connections.open":
            return {"ok": True, "url": self.socket_url()}
        args = Args(call.args)
        return METHODS[call.method](
            Call(self.workspace, args, self.scopes, self.limits, self.rules)
        )

    def _check_token(self, method: str, token: str) -> None:
        if method == "api.test":
            return
        if not token:
            raise Refused("not_authed")
        if token not in {self.bot_token, self.app_token}:
            raise Refused("invalid_auth")
        wanted = self.app_token if method == "apps.connections.open" else self.bot_token
        if token != wanted:
            raise Refused("not_allowed_token_type")

    def _check_scope(self, spec: Spec) -> None:
        if spec.scopes and not self.scopes & set(spec.scopes):
            raise Refused(
                "missing_scope",
                needed=",".join(spec.scopes),
                provided=",".join(sorted(self.scopes)),
            )

    def _check_args(self, spec: Spec, values: Json) -> None:
        unknown = sorted(values.keys() - spec.names)
        if self.strict and unknown:
            raise Refused("invalid_arguments", *(f"unsupported argument: {n}" for n in unknown))
        missing = [name for name in spec.need if values.get(name) in (None, "")]
        if "channel" in missing:
            raise Refused("channel_not_found")
        if missing:
            raise Refused("invalid_arguments", *(f"missing required field: {n}" for n in missing))

    def _response(self, call: ApiCall) -> web.Response:
        # The scopes of the token come with each answer (from memory: X-OAuth-Scopes).
        scopes = {"X-OAuth-Scopes": ",".join(sorted(self.scopes))}
        headers = {**scopes, **call.headers}
        return web.json_response(text=call.text, status=call.status, headers=headers)


def _limited(call: ApiCall, retry_after: int) -> None:
    call.give({"ok": False, "error": "ratelimited"}, 429)
    call.headers = {"Retry-After": str(retry_after)}


def _cut(request: web.Request, call: ApiCall) -> web.StreamResponse:
    """Cut the connection; the answer made here goes nowhere."""
    call.dropped = True
    if request.transport is not None:
        request.transport.abort()
    return web.Response()


async def _read(request: web.Request) -> Json:
    """Arguments from the query, a form or a JSON body, as the platform takes them.

    Source: "Web API: POST bodies", https://docs.slack.dev/apis/web-api/
    """
    values: Json = dict(request.query)
    kind = request.content_type
    body = await request.text() if request.can_read_body else ""
    if not body:
        return values
    if kind == "application/json":
        try:
            sent = json.loads(body)
        except ValueError:
            raise Refused("invalid_json") from None
        if not isinstance(sent, dict):
            raise Refused("json_not_object")
        return {**values, **sent}
    if kind in {"application/x-www-form-urlencoded", "multipart/form-data"}:
        form = await request.post()
        return {**values, **dict(form.items())}
    raise Refused("invalid_post_type")


def _token(request: web.Request, values: Json, *, header_only: bool) -> str:
    header = request.headers.get("Authorization", "")
    given = values.pop("token", None)
    if header.startswith("Bearer "):
        return header.removeprefix("Bearer ").strip()
    return "" if header_only else str(given or "")
