"""Faults that one can order, as the real client meets them."""

import asyncio
from collections.abc import AsyncIterator
from typing import Any

import aiohttp
import pytest
from slack_sdk.errors import SlackApiError

from tests.practice.chatserver_kit import Room, open_room, refused


@pytest.fixture
async def room() -> AsyncIterator[Room]:
    async with open_room() as opened:
        yield opened


def post(room: Room, text: str = "a") -> Any:
    return room.client.chat_postMessage(channel=room.channel, text=text)


def stored(room: Room) -> list[str]:
    return [message["text"] for message in room.chat.messages(room.channel)]


async def test_cut_after_doing_leaves_the_message_and_no_answer(room: Room) -> None:
    fault = room.chat.faults.add("drop_after", "chat.postMessage")
    with pytest.raises(aiohttp.ClientConnectionError):
        await post(room)
    assert stored(room) == ["a"]
    assert fault.fired == 1
    (call,) = room.chat.calls
    assert call.done
    assert call.dropped
    await post(room, "b")
    assert stored(room) == ["a", "b"]


async def test_cut_before_doing_leaves_nothing(room: Room) -> None:
    room.chat.faults.add("drop_before")
    with pytest.raises(aiohttp.ClientConnectionError):
        await post(room)
    assert stored(room) == []
    assert not room.chat.calls[0].done


async def test_a_late_answer_is_held_until_released(room: Room) -> None:
    fault = room.chat.faults.add("late", "chat.postMessage")
    call = asyncio.ensure_future(post(room))
    await fault.reached.wait()
    assert stored(room) == ["a"]
    assert not call.done()
    fault.release()
    assert (await call)["ok"] is True


async def test_a_late_answer_is_what_was_true_when_the_call_was_done(room: Room) -> None:
    fault = room.chat.faults.add("late", "conversations.history")
    reading = asyncio.ensure_future(room.client.conversations_history(channel=room.channel))
    await fault.reached.wait()
    await post(room)
    fault.release()
    assert (await reading)["messages"] == []


async def test_a_call_held_before_doing(room: Room) -> None:
    fault = room.chat.faults.add("late_before", "chat.postMessage")
    call = asyncio.ensure_future(post(room))
    await fault.reached.wait()
    assert stored(room) == []
    fault.release()
    await call
    assert stored(room) == ["a"]


async def test_a_late_answer_comes_by_itself_after_its_seconds(room: Room) -> None:
    room.chat.faults.add("late", seconds=0.01)
    assert (await post(room))["ok"] is True


async def test_an_error_answer_does_nothing(room: Room) -> None:
    room.chat.faults.add("error", error="fatal_error")
    assert (await refused(post(room)))["error"] == "fatal_error"
    assert stored(room) == []


async def test_a_server_error(room: Room) -> None:
    room.chat.faults.add("http_500")
    with pytest.raises(SlackApiError) as caught:
        await post(room)
    assert caught.value.response.status_code == 500
    assert stored(room) == []


async def test_a_rate_limit_with_its_seconds(room: Room) -> None:
    room.chat.faults.add("rate_limit", retry_after=17)
    with pytest.raises(SlackApiError) as caught:
        await post(room)
    assert caught.value.response.status_code == 429
    assert caught.value.response.headers["Retry-After"] == "17"


async def test_the_nth_call_and_as_many_as_asked_for(room: Room) -> None:
    room.chat.faults.add("error", "chat.postMessage", nth=2, times=2)
    await room.client.auth_test()  # another method does not count
    await post(room, "1")
    await refused(post(room, "2"))
    await refused(post(room, "3"))
    await post(room, "4")
    assert stored(room) == ["1", "4"]


async def test_clearing_lets_go(room: Room) -> None:
    fault = room.chat.faults.add("late", times=10**9)
    call = asyncio.ensure_future(post(room))
    await fault.reached.wait()
    room.chat.faults.clear()
    await call
    await post(room, "b")
    assert stored(room) == ["a", "b"]
