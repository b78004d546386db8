"""Errors and discovery as RESTCONF has them (RFC 8040), for reports of RFC 8572."""

from html import escape

import msgspec
from aiohttp import web

from handlers.intake.problems import RETRY_SECONDS, Refused
from handlers.intake.progress import JSON, XML, BadReport

ROOT = "/restconf"
HOST_META = "/.well-known/host-meta"
_RESTCONF = "urn:ietf:params:xml:ns:yang:ietf-restconf"
#: Error tags by status, RFC 8040 section 7; it has none for 415, 429 and 503.
_TAGS = {
    401: "access-denied",
    403: "access-denied",
    404: "invalid-value",
    409: "resource-denied",
    413: "too-big",
    415: "invalid-value",
    429: "resource-denied",
    503: "resource-denied",
}


def errors(error: Refused, request: web.Request) -> web.Response:
    """The answer to a refused report, in the encoding that was asked for (section 5.2, 7.1)."""
    tag = (
        error.tag if isinstance(error, BadReport) else _TAGS.get(error.status, "malformed-message")
    )
    kind = "application" if isinstance(error, BadReport) else "protocol"
    parts = {"error-type": kind, "error-tag": tag, "error-message": error.detail}
    if wants_xml(request):
        inner = "".join(f"<{k}>{escape(v, quote=False)}</{k}>" for k, v in parts.items())
        text = f'<errors xmlns="{_RESTCONF}"><error>{inner}</error></errors>'
        body, content_type = text.encode(), "application/yang-data+xml"
    else:
        body = msgspec.json.encode({"ietf-restconf:errors": {"error": [parts]}})
        content_type = "application/yang-data+json"
    headers = dict(error.headers)
    if error.status == 503:
        headers.setdefault("Retry-After", str(RETRY_SECONDS))
    return web.Response(body=body, status=error.status, content_type=content_type, headers=headers)


def wants_xml(request: web.Request) -> bool:
    """By Accept, else by what was sent."""
    accept = request.headers.get("Accept", "")
    for types, xml in ((XML, True), (JSON, False)):
        if any(name in accept for name in types):
            return xml
    return request.content_type in XML


async def host_meta(_: web.Request) -> web.Response:
    """Where RESTCONF begins (RFC 8040, section 3.1)."""
    text = (
        '<XRD xmlns="http://docs.oasis-open.org/ns/xri/xrd-1.0">'
        f'<Link rel="restconf" href="{ROOT}"/></XRD>'
    )
    return web.Response(text=text, content_type="application/xrd+xml")
