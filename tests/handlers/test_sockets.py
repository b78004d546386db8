"""Socket Mode: our own connection, the real framework, the stand-in's websocket.

Source: "Using Socket Mode", https://docs.slack.dev/apis/events-api/using-socket-mode.
"""

import asyncio
import time
from collections.abc import AsyncIterator, Callable

import pytest
from pydantic import SecretStr

from bot.practice.chatserver.server import APP_TOKEN
from handlers.sockets import BadAppToken
from tests.handlers.kit import ROWS, OwnStore, Room, open_room

CONTACT = "U0101"


@pytest.fixture
async def room(store_url: str) -> AsyncIterator[Room]:
    async with open_room(store_url, mode="socket", app_token=SecretStr(APP_TOKEN)) as opened:
        await opened.server.sockets.connected()
        yield opened


async def until(true: Callable[[], bool]) -> None:
    """Wait for what happens on the other side of a socket, which takes real time."""
    give_up = time.monotonic() + 10
    while not true():
        assert time.monotonic() < give_up
        await asyncio.sleep(0.01)


async def test_words_presses_and_commands_come_over_the_socket(room: Room) -> None:
    await room.say(CONTACT, "alderbeck", "yes")
    await room.rest()
    assert (await room.visit("alderbeck")).state == "agreed"
    pressed = await room.press("U0102", "ambermere", "yes")
    assert pressed.ok
    asked = await room.server.command("U0002", room.channel, "/wave", "status")
    assert "units online" in asked.body


async def test_nothing_of_the_chat_comes_in_by_http(room: Room) -> None:
    assert await room.signed("{}") == 404


async def test_it_is_acknowledged_only_after_the_commit(own_store: OwnStore) -> None:
    token = SecretStr(APP_TOKEN)
    async with open_room(own_store.url, mode="socket", app_token=token) as room:
        await room.server.sockets.connected()
        root = await room.root("alderbeck")
        room.server.sender.ack_seconds = 4
        await own_store.kill()
        await room.server.say(CONTACT, room.channel, "yes", thread_ts=root)
        assert not room.delivered(CONTACT).ok
        await own_store.start()
        await room.rest()  # the platform sends it again
        assert room.delivered(CONTACT).ok
        assert (await room.visit("alderbeck")).state == "agreed"
        assert len(await room.heard("alderbeck")) == 1


async def test_a_new_connection_is_made_when_asked_for(room: Room) -> None:
    (first,) = room.server.sockets.connections
    await room.server.sockets.disconnect("refresh_requested")
    await room.server.sockets.connected()
    assert first not in room.server.sockets.connections
    await room.say(CONTACT, "alderbeck", "yes")
    await room.rest()
    assert (await room.visit("alderbeck")).state == "agreed"


async def test_a_connection_that_breaks_is_made_anew_with_a_new_address(room: Room) -> None:
    before = len([c for c in room.server.calls if c.method == "apps.connections.open"])
    room.server.faults.add("http_500", "apps.connections.open", times=2)
    await room.server.sockets.cut()
    await room.server.sockets.connected()
    after = len([c for c in room.server.calls if c.method == "apps.connections.open"])
    assert after == before + 3  # two that failed, one that worked; no address is used twice


async def test_readiness_tells_whether_a_socket_is_open(room: Room) -> None:
    assert (await room.bot.check())["socket"] is True
    room.server.faults.add("http_500", "apps.connections.open", times=10**9)
    await room.server.sockets.cut()
    sockets = room.bot.sockets
    assert sockets is not None
    await until(lambda: not sockets.connected)
    assert (await room.bot.check())["socket"] is False


async def test_the_end_waits_for_what_has_come(room: Room) -> None:
    begun, go_on = asyncio.Event(), asyncio.Event()
    hear = room.bot.chat_in.hearing.hear

    async def slow(*args: object, **more: object) -> None:
        begun.set()
        await go_on.wait()
        await hear(*args, **more)  # type: ignore[arg-type]

    room.bot.chat_in.hearing.hear = slow  # type: ignore[method-assign]
    root = await room.root("alderbeck")
    saying = asyncio.create_task(room.server.say(CONTACT, room.channel, "yes", thread_ts=root))
    await begun.wait()
    ending = asyncio.create_task(room.bot.stop_taking())
    await asyncio.sleep(0)
    go_on.set()
    await asyncio.gather(saying, ending)
    assert room.delivered(CONTACT).ok
    assert (await room.visit("alderbeck")).state == "agreed"


async def test_a_wrong_app_token_is_one_clear_sentence(store_url: str) -> None:
    room = Room(store_url, ROWS, mode="socket", app_token=SecretStr("xapp-wrong"))
    with pytest.raises(BadAppToken, match=r"chat\.app_token is refused \(invalid_auth\)"):
        await room.start()
    await room.stop()


async def test_with_the_platform_away_it_goes_on_trying(store_url: str) -> None:
    room = Room(store_url, ROWS, mode="socket", app_token=SecretStr(APP_TOKEN))
    room.server.faults.add("http_500", "apps.connections.open", times=2)
    await room.start()
    await room.server.sockets.connected()
    await room.say(CONTACT, "alderbeck", "yes")
    await room.rest()
    assert (await room.visit("alderbeck")).state == "agreed"
    await room.stop()
