"""Liveness and readiness: whether the process runs, and whether it can take facts in.

While the chat is away registrations are taken all the same, so that it is told and not counted.
"""

from collections.abc import Awaitable, Callable

from aiohttp import web

#: What it takes to take facts in.
NEEDED = ("store", "taking")
Check = Callable[[], Awaitable[dict[str, bool]]]


def routes(check: Check) -> list[web.RouteDef]:
    """``/live`` is 200 while the loop turns; ``/ready`` is 503 while a needed part is away."""

    async def live(_: web.Request) -> web.Response:
        return web.json_response({"live": True})

    async def ready(_: web.Request) -> web.Response:
        parts = await check()
        return web.json_response(parts, status=200 if all(parts[n] for n in NEEDED) else 503)

    return [web.get("/live", live), web.get("/ready", ready)]
