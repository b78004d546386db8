"""A gateway to the telephone, as far as we see it: a real HTTP server that takes signed events."""

import asyncio
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from aiohttp import web

SECRET = "whsec_" + "Z2F0ZXdheS1vZi1wcmFjdGljZS0xMjM0NTY3ODkw"


@dataclass(frozen=True)
class Taken:
    """One request as it came."""

    headers: Mapping[str, str]
    body: bytes

    @property
    def event(self) -> dict[str, Any]:
        made: dict[str, Any] = json.loads(self.body)
        return made

    @property
    def data(self) -> dict[str, Any]:
        made: dict[str, Any] = self.event["data"]
        return made


@dataclass
class Gateway:
    """``status`` is what it answers; ``silent``: it takes the request and answers nothing."""

    status: int = 202
    silent: bool = False
    headers: dict[str, str] = field(default_factory=dict)
    tried: list[Taken] = field(default_factory=list)  # every attempt
    taken: list[Taken] = field(default_factory=list)  # those that it answered with 2xx

    async def start(self) -> None:
        app = web.Application()
        app.router.add_route("*", "/{path:.*}", self._take)
        self._released = asyncio.Event()
        self._runner = web.AppRunner(app, access_log=None, shutdown_timeout=0.1)
        await self._runner.setup()
        site = web.TCPSite(self._runner, "127.0.0.1", 0)
        await site.start()
        self.url = f"http://127.0.0.1:{self._runner.addresses[0][1]}/calls/of-ours"

    async def stop(self) -> None:
        self._released.set()
        await self._runner.cleanup()

    async def _take(self, request: web.Request) -> web.Response:
        one = Taken(dict(request.headers.items()), await request.read())
        one = Taken({k.lower(): v for k, v in one.headers.items()}, one.body)
        self.tried.append(one)
        if self.silent:
            await self._released.wait()
        if 200 <= self.status < 300:
            self.taken.append(one)
            self.on_taken(one)
        return web.Response(status=self.status, headers=self.headers)

    def on_taken(self, one: Taken) -> None:
        """Somebody's telephone rings."""
