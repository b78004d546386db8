"""Headers of a proxy count from the addresses of the settings, and from nobody else."""

from collections.abc import AsyncIterator, Callable

import aiohttp
import pytest
from aiohttp import web

from handlers.proxy import believed


@pytest.fixture
async def ask() -> AsyncIterator[Callable[..., object]]:
    runners: list[web.AppRunner] = []

    async def seen(trusted: tuple[str, ...], headers: dict[str, str]) -> tuple[str, str]:
        async def handler(request: web.Request) -> web.Response:
            return web.json_response([request.remote, request.scheme])

        app = web.Application(middlewares=[believed(trusted)])
        app.router.add_get("/", handler)
        runner = web.AppRunner(app)
        runners.append(runner)
        await runner.setup()
        await web.TCPSite(runner, "127.0.0.1", 0).start()
        url = f"http://127.0.0.1:{runner.addresses[0][1]}/"
        async with (
            aiohttp.ClientSession(trust_env=False) as session,
            session.get(url, headers=headers) as answer,
        ):
            remote, scheme = await answer.json()
            return remote, scheme

    yield seen
    for runner in runners:
        await runner.cleanup()


FORWARDED = {"X-Forwarded-For": "203.0.113.9", "X-Forwarded-Proto": "https"}


@pytest.mark.parametrize(
    ("trusted", "headers", "remote", "scheme"),
    [
        ((), FORWARDED, "127.0.0.1", "http"),
        (("192.0.2.1",), FORWARDED, "127.0.0.1", "http"),
        (("127.0.0.1",), FORWARDED, "203.0.113.9", "https"),
        (("127.0.0.0/8",), {}, "127.0.0.1", "http"),
        (  # what a sender put there itself is not believed: only what our proxy added
            ("127.0.0.1",),
            {"X-Forwarded-For": "198.51.100.1, 203.0.113.9"},
            "203.0.113.9",
            "http",
        ),
        (  # two proxies of ours in a row
            ("127.0.0.1", "192.0.2.0/24"),
            {"X-Forwarded-For": "203.0.113.9, 192.0.2.8"},
            "203.0.113.9",
            "http",
        ),
        (("127.0.0.1",), {"X-Forwarded-For": " , "}, "127.0.0.1", "http"),
        (("127.0.0.1",), {"X-Forwarded-Proto": "gopher"}, "127.0.0.1", "http"),
    ],
)
async def test_who_is_believed(
    ask: Callable[..., object],
    trusted: tuple[str, ...],
    headers: dict[str, str],
    remote: str,
    scheme: str,
) -> None:
    assert await ask(trusted, headers) == (remote, scheme)  # type: ignore[misc]
