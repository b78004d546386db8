"""The OpenAPI 3.1 document of the way in, made from what the code takes and answers.

Source: OpenAPI Specification 3.1.1, https://spec.openapis.org/oas/v3.1.1.html.
"""

from importlib.metadata import PackageNotFoundError, version
from typing import Any

import msgspec
from aiohttp import web

from bot.intake_settings import RegistrationSettings, WebhookSource
from bot.model.progress import TYPES
from handlers.intake import cloudevents, progress, restconf
from handlers.intake.problems import Problem

PATH = "/openapi.json"
_JSON = "application/json"
_PROBLEM = "application/problem+json"
#: What each status means here; those of RFC 9110 and, for 429 and 431, of RFC 6585.
STATUSES = {
    400: "Not what the content type says, or nested too deep.",
    401: "Not known: no signature, token, password or certificate of this source.",
    403: "Known, but not allowed: a token or password without TLS, a name that is no serial.",
    404: "There is no such source.",
    409: "This id was taken before, with other content.",
    413: "The body or the batch is too large.",
    415: "A form that this source does not take.",
    422: "Well-formed, but it names no unit, or says nothing we act on.",
    429: "More requests than this source may send; Retry-After says when to come again.",
    431: "Too many header fields.",
    503: "The store is away; nothing was lost; Retry-After says when to send it again.",
}


class Taken(msgspec.Struct, frozen=True):
    """What became of one event, once it is on disk."""

    outcome: str


class Result(msgspec.Struct, frozen=True, omit_defaults=True):
    """One event of a batch; ``outcome`` where it was taken, ``detail`` where it was not."""

    status: int
    outcome: str = ""
    detail: str = ""


class Batch(msgspec.Struct, frozen=True):
    """All are final: none of them need be sent again."""

    results: list[Result]


def document(settings: RegistrationSettings) -> dict[str, Any]:
    """The whole document, for these settings."""
    names = [source.name for source in settings.sources]
    paths: dict[str, Any] = {
        "/registrations/{source}": {
            "parameters": [
                {
                    "name": "source",
                    "in": "path",
                    "required": True,
                    "schema": {"type": "string", **({"enum": names} if names else {})},
                }
            ],
            "post": _post(settings),
            "options": _options(),
        }
    }
    if any(source.progress for source in settings.sources):
        paths[f"{restconf.ROOT}/operations/{progress.OPERATION}"] = {"post": _report()}
        paths[restconf.HOST_META] = {"get": _host_meta()}
    _, schemas = msgspec.json.schema_components(
        (Problem, Taken, Batch), ref_template="#/components/schemas/{name}"
    )
    return {
        "openapi": "3.1.1",
        "info": {"title": "Registrations", "version": _version()},
        "paths": paths,
        "components": {
            "schemas": {
                **schemas,
                "Event": event_schema(settings),
                "Report": report_schema(),
                "RestconfErrors": _restconf_errors(),
            },
            "securitySchemes": _schemes(settings.sources),
        },
        "security": [{name: []} for name in _schemes(settings.sources)] or [{}],
    }


def _version() -> str:
    try:
        return version("musterline")
    except PackageNotFoundError:
        return "unknown"


def _ref(name: str) -> dict[str, Any]:
    return {"$ref": f"#/components/schemas/{name}"}


def event_schema(settings: RegistrationSettings) -> dict[str, Any]:
    """An event in structured mode, as ``cloudevents.checked`` has it."""
    text = {"type": "string", "minLength": 1, "maxLength": cloudevents.LENGTH}
    types = (*settings.registered_types, *settings.lost_types, *settings.alive_types)
    return {
        "type": "object",
        "required": list(cloudevents.REQUIRED),
        "properties": {
            "id": text,
            "source": {**text, "format": "uri-reference"},
            "specversion": {"const": "1.0"},
            "type": {"enum": list(types)},
            "subject": {"type": ["string", "null"]},
            "time": {"type": ["string", "null"]},
            "data": {},
        },
        "description": f"The serial stands at {' or '.join(settings.serial)}.",
        "examples": [
            {
                "specversion": "1.0",
                "id": "evt-0001",
                "source": "https://registry.example.org/units",
                "type": types[0],
                "subject": "HML-4F7K2Q",
                "data": {"serial": "HML-4F7K2Q"},
            }
        ]
        if types
        else [],
    }


def report_schema() -> dict[str, Any]:
    """A progress report in JSON (RFC 8572, section 7.3)."""
    inner = {
        "type": "object",
        "required": ["progress-type"],
        "properties": {
            "progress-type": {"enum": sorted(TYPES)},
            "message": {"type": "string"},
            "ssh-host-keys": {"type": "object"},
            "trust-anchor-certs": {"type": "object"},
        },
        "additionalProperties": False,
    }
    name = f"{progress.MODULE}:input"
    return {"type": "object", "required": [name], "properties": {name: inner}}


def _post(settings: RegistrationSettings) -> dict[str, Any]:
    content: dict[str, Any] = {
        cloudevents.STRUCTURED: {"schema": _ref("Event")},
        cloudevents.BATCHED: {
            "schema": {"type": "array", "maxItems": settings.batch_limit, "items": _ref("Event")}
        },
        _JSON: {"schema": {}},
    }
    good = {
        "200": _answer("Every event of the batch is final.", "Batch"),
        "202": _answer("It is on disk.", "Taken"),
    }
    return {
        "summary": "Report that a unit registered, was lost again, or is still there",
        "parameters": [
            *(_header(f"ce-{name}") for name in cloudevents.REQUIRED),
            *(_header(f"webhook-{name}") for name in ("id", "timestamp", "signature")),
        ],
        "requestBody": {"required": True, "content": content},
        "responses": good | {str(s): _problem_answer(s) for s in STATUSES},
    }


def _report() -> dict[str, Any]:
    refused = {
        str(status): {
            "description": text,
            "headers": _retry(status),
            "content": {
                "application/yang-data+json": {"schema": _ref("RestconfErrors")},
                "application/yang-data+xml": {"schema": {"type": "string"}},
            },
        }
        for status, text in STATUSES.items()
    }
    return {
        "summary": "A unit reports its progress (RFC 8572, report-progress)",
        "requestBody": {
            "required": True,
            "content": {
                "application/yang-data+json": {"schema": _ref("Report")},
                "application/yang-data+xml": {"schema": {"type": "string"}},
            },
        },
        "responses": {"204": {"description": "It is on disk."}, **refused},
    }


def _options() -> dict[str, Any]:
    return {
        "summary": "The validation handshake of CloudEvents webhooks (1.0.2, section 4)",
        "security": [{}],
        "parameters": [_header("WebHook-Request-Origin"), _header("WebHook-Request-Rate")],
        "responses": {
            "200": {
                "description": "Consent is in the headers alone.",
                "headers": {
                    "WebHook-Allowed-Origin": {"schema": {"type": "string"}},
                    "WebHook-Allowed-Rate": {"schema": {"type": "string"}},
                },
            }
        },
    }


def _host_meta() -> dict[str, Any]:
    return {
        "summary": "Where RESTCONF begins (RFC 8040, section 3.1)",
        "security": [{}],
        "responses": {
            "200": {
                "description": "An XRD document.",
                "content": {"application/xrd+xml": {"schema": {"type": "string"}}},
            }
        },
    }


def _header(name: str) -> dict[str, Any]:
    return {"name": name, "in": "header", "required": False, "schema": {"type": "string"}}


def _answer(text: str, schema: str) -> dict[str, Any]:
    return {"description": text, "content": {_JSON: {"schema": _ref(schema)}}}


def _problem_answer(status: int) -> dict[str, Any]:
    return {
        "description": STATUSES[status],
        "headers": _retry(status),
        "content": {_PROBLEM: {"schema": _ref("Problem")}},
    }


def _retry(status: int) -> dict[str, Any]:
    if status in (429, 503):
        return {"Retry-After": {"required": True, "schema": {"type": "string"}}}
    if status == 401:
        return {"WWW-Authenticate": {"required": True, "schema": {"type": "string"}}}
    return {}


def _restconf_errors() -> dict[str, Any]:
    """RFC 8040, section 8, ``errors``."""
    text = {"type": "string"}
    names = ("error-type", "error-tag", "error-message")
    error = {
        "type": "object",
        "required": list(names),
        "properties": dict.fromkeys(names, text),
    }
    inner = {"type": "object", "properties": {"error": {"type": "array", "items": error}}}
    return {"type": "object", "properties": {"ietf-restconf:errors": inner}}


def _schemes(sources: tuple[WebhookSource, ...]) -> dict[str, Any]:
    """How the sources are known; a signature is described as the header that carries it."""
    found: dict[str, Any] = {}
    if any(s.secrets or s.public_keys for s in sources):
        found["signature"] = {"type": "apiKey", "in": "header", "name": "webhook-signature"}
    if any(s.tokens for s in sources):
        found["token"] = {"type": "http", "scheme": "bearer"}
    if any(s.passwords for s in sources):
        found["password"] = {"type": "http", "scheme": "basic"}
    if any(s.client_cert for s in sources):
        found["certificate"] = {"type": "apiKey", "in": "header", "name": "Client-Cert"}
    return found


class Served:
    """``GET /openapi.json``, encoded once."""

    def __init__(self, settings: RegistrationSettings) -> None:
        self._body = msgspec.json.format(msgspec.json.encode(document(settings)), indent=2)

    async def get(self, _: web.Request) -> web.Response:
        return web.Response(body=self._body, content_type=_JSON)
