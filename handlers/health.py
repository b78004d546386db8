"""Liveness and readiness: whether the process runs, and whether it can take facts in."""

from collections.abc import Awaitable, Callable

from aiohttp import web

Check = Callable[[], Awaitable[dict[str, bool]]]


def routes(check: Check) -> list[web.RouteDef]:
    """``/live`` is 200 while the loop turns; ``/ready`` is 503 while a part is away."""

    async def live(_: web.Request) -> web.Response:
        return web.json_response({"live": True})

    async def ready(_: web.Request) -> web.Response:
        parts = await check()
        return web.json_response(parts, status=200 if all(parts.values()) else 503)

    return [web.get("/live", live), web.get("/ready", ready)]
