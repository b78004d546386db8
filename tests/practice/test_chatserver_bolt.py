"""The real chat framework against the stand-in, over HTTP and over Socket Mode."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

import aiohttp
import pytest
from aiohttp import web
from slack_bolt.adapter.socket_mode.async_handler import AsyncSocketModeHandler
from slack_bolt.app.async_app import AsyncApp
from slack_bolt.authorization import AuthorizeResult

from bot.practice.chatserver import ChatServer
from bot.practice.chatserver.server import APP_TOKEN, BOT_TOKEN
from tests.practice.chatserver_kit import SECRET, Clock, Json, actions, button, client_of


class Desk:
    """A small app: asks on a mention, thanks on a press, answers a command."""

    def __init__(self, chat: ChatServer, base: str) -> None:
        self.heard: list[Json] = []
        self.fail = False

        async def authorize() -> AuthorizeResult:
            return AuthorizeResult(
                enterprise_id=None,
                team_id=chat.workspace.team_id,
                bot_user_id=chat.bot_user,
                bot_id=chat.workspace.bot_id,
                bot_token=BOT_TOKEN,
            )

        self.client = client_of(base)
        self.app = AsyncApp(
            client=self.client,
            signing_secret=SECRET,
            authorize=authorize,
            process_before_response=True,
        )
        self.app.event("app_mention")(self.mentioned)
        self.app.event("message")(self.message)
        self.app.action("done")(self.done)
        self.app.command("/wave")(self.wave)

    async def mentioned(self, event: Json) -> None:
        await self.client.chat_postMessage(
            channel=event["channel"],
            thread_ts=event["ts"],
            text="Is it plugged in?",
            blocks=[actions(button("done"))],
        )

    async def message(self, event: Json) -> None:
        if self.fail:
            raise RuntimeError("the store is away")
        self.heard.append(event)

    async def done(self, ack: Any, body: Json) -> None:
        await ack()
        message = body["message"]
        await self.client.chat_update(
            channel=body["channel"]["id"], ts=message["ts"], text="Thank you."
        )

    async def wave(self, ack: Any, command: Json) -> None:
        await ack(f"{command['text']}: 36 sites")


@asynccontextmanager
async def open_chat(**options: Any) -> AsyncIterator[tuple[ChatServer, Desk, str, str]]:
    chat = ChatServer(clock=Clock(), signing_secret=SECRET, **options)
    desk = Desk(chat, await chat.start())
    ana = chat.add_user("U0ANA00001", "Ana Merrow")
    channel = chat.add_channel("wave-1", members=[ana])
    try:
        yield chat, desk, channel, ana
    finally:
        await chat.stop()


@asynccontextmanager
async def over_http() -> AsyncIterator[tuple[ChatServer, Desk, str, str]]:
    async with open_chat() as (chat, desk, channel, ana):
        server = desk.app.server(port=0, path="/chat")
        runner = web.AppRunner(server.web_app, shutdown_timeout=0.1)
        await runner.setup()
        await web.TCPSite(runner, "127.0.0.1", 0).start()
        chat.events_url = f"http://127.0.0.1:{runner.addresses[0][1]}/chat"
        try:
            yield chat, desk, channel, ana
        finally:
            await runner.cleanup()


@asynccontextmanager
async def over_sockets() -> AsyncIterator[tuple[ChatServer, Desk, str, str]]:
    async with open_chat(socket_mode=True) as (chat, desk, channel, ana):
        handler = AsyncSocketModeHandler(desk.app, APP_TOKEN)
        handler.client.proxy = None
        await handler.connect_async()  # type: ignore[no-untyped-call]
        try:
            yield chat, desk, channel, ana
        finally:
            await handler.close_async()  # type: ignore[no-untyped-call]
            await handler.client.aiohttp_client_session.close()


@pytest.fixture(params=[over_http, over_sockets], ids=["http", "sockets"])
async def running(request: Any) -> AsyncIterator[tuple[ChatServer, Desk, str, str]]:
    async with request.param() as opened:
        yield opened


async def test_a_short_talk(running: tuple[ChatServer, Desk, str, str]) -> None:
    chat, desk, channel, ana = running
    root = await chat.mention(ana, channel, "I am here")
    question = chat.thread(channel, root)[1]
    assert question["text"] == "Is it plugged in?"
    pressed = await chat.press(ana, channel, question["ts"], "done")
    assert pressed.ok
    assert chat.thread(channel, root)[1]["text"] == "Thank you."
    asked = await chat.command(ana, channel, "/wave", "status")
    assert asked.ok
    assert "status: 36 sites" in asked.body
    await chat.settle()
    assert chat.pending == 0
    assert [event["text"] for event in desk.heard if "text" in event] == [
        f"<@{chat.bot_user}> I am here"
    ]


async def test_a_listener_that_fails_gets_the_event_again(
    running: tuple[ChatServer, Desk, str, str],
) -> None:
    chat, desk, channel, ana = running
    chat.sender.ack_seconds = 0.3
    desk.fail = True
    await chat.say(ana, channel, "done")
    due = chat.next_due()
    assert due is not None
    desk.fail = False
    await chat.deliver_due(due)
    assert [event["text"] for event in desk.heard] == ["done"]
    assert chat.pending == 0


async def test_the_socket_comes_back_after_a_disconnect() -> None:
    # Source: https://docs.slack.dev/apis/events-api/using-socket-mode ("disconnect")
    async with over_sockets() as (chat, desk, channel, ana):
        (first,) = chat.sockets.connections
        await chat.sockets.disconnect("refresh_requested")
        async with asyncio.timeout(5):
            await chat.sockets.connected()
        assert first not in chat.sockets.connections
        await chat.say(ana, channel, "back")
        assert [event["text"] for event in desk.heard] == ["back"]


async def test_without_a_socket_an_event_waits_for_its_redelivery() -> None:
    async with open_chat(socket_mode=True) as (chat, _desk, channel, ana):
        await chat.say(ana, channel, "anyone?")
        assert chat.sender.waiting == 1
        assert chat.deliveries[-1].reason == "connection_failed"


async def test_the_socket_address_needs_the_app_token_and_works_once() -> None:
    # Source: https://docs.slack.dev/reference/methods/apps.connections.open
    async with open_chat(socket_mode=True) as (chat, desk, _channel, _ana):
        answer = await desk.client.apps_connections_open(app_token=APP_TOKEN)
        url = answer["url"]
        async with aiohttp.ClientSession() as own, own.ws_connect(url) as socket:
            hello = await socket.receive_json()
            assert hello["type"] == "hello"
            assert hello["num_connections"] == 1
            with pytest.raises(aiohttp.WSServerHandshakeError):
                await own.ws_connect(url)
            assert len(chat.sockets.connections) == 1
