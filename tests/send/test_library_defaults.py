"""Defaults of the chat library that double or hide things: each test fails when one is back.

For each, the library's own behaviour is shown too, so that a trap that is gone is noticed.
"""

import asyncio
import logging
import time as process_clock
from collections.abc import AsyncIterator
from typing import Any

import aiohttp
import pytest
from aiohttp import web
from slack_sdk.errors import SlackApiError
from slack_sdk.web.async_client import AsyncWebClient

from bot.practice.chatserver import ChatServer
from bot.send.chat import ChatOut, make_client, proxy_for
from bot.send.errors import InDoubt, Passing
from bot.speak.render import Rendered

HELLO = Rendered("Hello.", [{"type": "section", "text": {"type": "mrkdwn", "text": "Hello."}}], {})


def api(server: ChatServer) -> str:
    return f"{server.base_url}/api/"


def posts(server: ChatServer) -> int:
    return len([call for call in server.calls if call.method == "chat.postMessage"])


# --- retries by itself ------------------------------------------------------------------


async def test_a_cut_connection_is_not_retried_behind_our_back(
    server: ChatServer, chat: ChatOut
) -> None:
    await chat.post("C0WAVE0001", HELLO)  # so that the next one goes over a kept connection
    server.faults.add("drop_after", "chat.postMessage")
    with pytest.raises(InDoubt):
        await chat.post("C0WAVE0001", HELLO)
    assert posts(server) == 2
    assert len(server.messages("C0WAVE0001")) == 2


async def test_the_librarys_own_client_would_have_posted_twice(server: ChatServer) -> None:
    server.faults.add("drop_after", "chat.postMessage")
    client = AsyncWebClient("xoxb-practice", base_url=api(server))
    client.proxy = None
    await client.chat_postMessage(channel="C0WAVE0001", text="Hello.")
    assert len(server.messages("C0WAVE0001")) == 2


# --- its timeout does not hold on a shared session ---------------------------------------


async def test_our_deadline_holds_on_the_shared_session(server: ChatServer) -> None:
    fault = server.faults.add("late", "chat.postMessage")
    chat = ChatOut("xoxb-practice", base_url=api(server), deadline=0.2)
    began = process_clock.monotonic()
    with pytest.raises(InDoubt, match="no answer in time"):
        await chat.post("C0WAVE0001", HELLO)
    assert process_clock.monotonic() - began < 1.0
    fault.release()
    await chat.close()


async def test_the_librarys_timeout_is_ignored_on_a_shared_session(server: ChatServer) -> None:
    server.faults.add("late", "chat.postMessage", seconds=1.5)
    async with aiohttp.ClientSession() as session:
        client = AsyncWebClient("xoxb-practice", base_url=api(server), session=session, timeout=1)
        client.proxy = None
        began = process_clock.monotonic()
        await client.chat_postMessage(channel="C0WAVE0001", text="Hello.")
        assert process_clock.monotonic() - began > 1.4


async def test_a_session_that_was_closed_is_not_replaced_by_the_librarys_own(
    server: ChatServer, chat: ChatOut
) -> None:
    await chat.post("C0WAVE0001", HELLO)
    first = chat.client.session
    await chat.close()
    await chat.post("C0WAVE0001", HELLO)
    assert chat.client.session is not first
    assert chat.client.session is not None
    assert not chat.client.session.closed


# --- a proxy of the environment captures local calls ---------------------------------------

NOWHERE = "http://127.0.0.1:9"  # the discard port: nothing answers


async def test_a_proxy_of_the_environment_does_not_capture_local_calls(
    server: ChatServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("HTTPS_PROXY", "https_proxy", "HTTP_PROXY", "http_proxy"):
        monkeypatch.setenv(name, NOWHERE)
    chat = ChatOut("xoxb-practice", base_url=api(server), proxy=proxy_for(api(server)))
    await chat.post("C0WAVE0001", HELLO)
    await chat.close()
    assert posts(server) == 1


async def test_the_librarys_own_client_goes_to_the_proxy(
    server: ChatServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HTTPS_PROXY", NOWHERE)
    client = AsyncWebClient("xoxb-practice", base_url=api(server), retry_handlers=[])
    with pytest.raises(aiohttp.ClientError):
        await client.chat_postMessage(channel="C0WAVE0001", text="Hello.")
    assert posts(server) == 0


def test_a_proxy_is_taken_for_the_platform_and_exceptions_are_respected(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("https_proxy", "http://192.0.2.1:3128")
    monkeypatch.setenv("no_proxy", "chat.example.org")
    assert proxy_for("https://other.example.org/api/") == "http://192.0.2.1:3128"
    assert proxy_for("https://chat.example.org/api/") is None
    assert proxy_for("https://127.0.0.1:8443/api/") is None
    assert proxy_for("http://localhost:1234/api/") is None


# --- what we say to people ends up in the log ------------------------------------------------


async def test_texts_are_not_written_to_the_log(
    chat: ChatOut, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.DEBUG)
    secret = Rendered("Ring 07700 900123", HELLO.blocks, {})
    await chat.post("C0WAVE0001", secret)
    assert "07700" not in caplog.text


async def test_the_librarys_own_client_writes_them(
    server: ChatServer, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.DEBUG)
    client = AsyncWebClient("xoxb-practice", base_url=api(server))
    client.proxy = None
    await client.chat_postMessage(channel="C0WAVE0001", text="Ring 07700 900123")
    assert "07700" in caplog.text


# --- what the library makes of answers that are not the platform's ----------------------------


@pytest.fixture
async def odd() -> AsyncIterator[Any]:
    """A server that answers what it is told, as something in front of the platform might."""
    answer: dict[str, Any] = {}

    async def handle(request: web.Request) -> web.Response:
        return web.Response(**answer)

    app = web.Application()
    app.router.add_route("*", "/api/{method}", handle)
    runner = web.AppRunner(app)
    await runner.setup()
    site = web.TCPSite(runner, "127.0.0.1", 0)
    await site.start()
    answer_url = f"http://127.0.0.1:{runner.addresses[0][1]}/api/"
    yield answer, answer_url
    await runner.cleanup()


@pytest.mark.parametrize(
    ("status", "kind", "body"),
    [
        (502, "text/plain", "bad gateway"),  # the library raises AttributeError here
        (502, "text/html", "<html>bad gateway</html>"),
        (200, "text/html", "<html>sign in to the network</html>"),
        (200, "application/json", "{not json"),
        (200, "application/json", "[1]"),
        (200, "application/json", '{"ok": true}'),  # no stamp
    ],
)
async def test_an_answer_that_cannot_be_read_leaves_the_message_in_doubt(
    odd: Any, status: int, kind: str, body: str
) -> None:
    answer, url = odd
    answer.update(status=status, content_type=kind, text=body)
    chat = ChatOut("xoxb-practice", base_url=url)
    with pytest.raises(InDoubt):
        await chat.post("C0WAVE0001", HELLO)
    await chat.close()


async def test_a_limit_without_json_is_still_a_limit(odd: Any) -> None:
    answer, url = odd
    answer.update(status=429, content_type="text/html", text="slow", headers={"retry-after": "9"})
    chat = ChatOut("xoxb-practice", base_url=url)
    with pytest.raises(Passing) as raised:
        await chat.post("C0WAVE0001", HELLO)
    assert raised.value.wait == 9000
    await chat.close()


async def test_no_connection_is_passing_and_not_in_doubt() -> None:
    chat = ChatOut("xoxb-practice", base_url="http://127.0.0.1:9/api/")
    with pytest.raises(Passing, match="no connection"):
        await chat.post("C0WAVE0001", HELLO)
    await chat.close()


# --- reading back without the marks --------------------------------------------------------


async def test_reading_back_asks_for_the_marks(server: ChatServer, chat: ChatOut) -> None:
    mark = {"event_type": "install_desk", "event_payload": {"id": "m1", "rev": 2}}
    posted = await chat.post("C0WAVE0001", Rendered("Hello.", HELLO.blocks, mark))
    (seen,) = await chat.ours("C0WAVE0001")
    assert (seen.stamp, seen.id, seen.rev) == (posted.stamp, "m1", 2)
    plain = await chat.client.conversations_history(channel="C0WAVE0001")
    assert "metadata" not in plain["messages"][0]


async def test_every_page_of_a_long_thread_is_read(server: ChatServer, chat: ChatOut) -> None:
    server.limits.on = False
    root = await chat.post("C0WAVE0001", HELLO)
    for n in range(450):
        mark = {"event_type": "install_desk", "event_payload": {"id": f"m{n}", "rev": 0}}
        await chat.post("C0WAVE0001", Rendered("Hello.", HELLO.blocks, mark), root.stamp)
    seen = await chat.ours("C0WAVE0001", root.stamp)
    assert [one.id for one in seen] == [f"m{n}" for n in range(450)]


async def test_the_client_is_made_without_any_default(server: ChatServer) -> None:
    client = make_client("xoxb-practice", session=None, base_url=api(server))
    assert client.retry_handlers == []
    assert client.proxy is None
    assert client.trust_env_in_session is False
    with pytest.raises(SlackApiError):
        await client.chat_update(channel="C0WAVE0001", ts="1.000000", text="x")
    await asyncio.sleep(0)
