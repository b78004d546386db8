"""Refusals, and how they are told: problem details of RFC 9457."""

import msgspec
from aiohttp import web

RETRY_SECONDS = 5


class Refused(Exception):
    """The request is answered with this status and one sentence; nothing was done.

    ``headers`` go with the answer: what to do to be let in, or when to come again.
    """

    def __init__(self, status: int, detail: str, **headers: str) -> None:
        super().__init__(detail)
        self.status, self.detail = status, detail
        self.headers = {name.replace("_", "-"): value for name, value in headers.items()}


class Problem(msgspec.Struct, frozen=True):
    """Problem details of RFC 9457; ``about:blank`` says no more than the status does."""

    status: int
    detail: str
    type: str = "about:blank"


_encode = msgspec.json.Encoder().encode


def problem(
    status: int, detail: str, *, retry: bool = False, headers: dict[str, str] | None = None
) -> web.Response:
    """The answer; with ``retry`` it says when to come again (RFC 9110, section 10.2.3)."""
    more = dict(headers or {})
    if retry:
        more.setdefault("Retry-After", str(RETRY_SECONDS))
    return web.Response(
        body=_encode(Problem(status, detail)),
        status=status,
        content_type="application/problem+json",
        headers=more,
    )


def refused(error: Refused) -> web.Response:
    """The answer to what was refused."""
    return problem(error.status, error.detail, headers=error.headers)
