"""The rarer refusals, one by one.

Source: the "Errors" table of each method's page,
https://docs.slack.dev/reference/methods/METHOD, unless a test says otherwise.
"""

import json
from collections.abc import AsyncIterator
from typing import Any

import aiohttp
import pytest
from aiohttp import web

from bot.practice.chatserver import NotThere
from bot.practice.chatserver.server import APP_TOKEN, BOT_TOKEN
from bot.practice.chatserver.socketmode import MOST_CONNECTIONS
from tests.practice.chatserver_kit import Room, actions, button, open_room, refused

LOST = "1600000000.000001"


@pytest.fixture
async def room() -> AsyncIterator[Room]:
    async with open_room() as opened:
        opened.chat.limits.on = False
        yield opened


async def post(room: Room, **fields: Any) -> str:
    answer = await room.client.chat_postMessage(channel=room.channel, text="a", **fields)
    return str(answer["ts"])


@pytest.mark.parametrize(
    ("method", "args", "error"),
    [
        ("chat.postMessage", {"markdown_text": "x" * 12_001}, "msg_too_long"),
        ("chat.postMessage", {"text": "a", "attachments": "red"}, "invalid_attachments"),
        ("chat.postMessage", {"text": "a", "attachments": {"text": "a"}}, "invalid_attachments"),
        ("chat.postMessage", {"text": "a", "blocks": "{"}, "invalid_blocks_format"),
        ("chat.postMessage", {"text": {"a": 1}}, "invalid_arguments"),
        ("chat.update", {"ts": LOST, "text": "a"}, "message_not_found"),
        ("chat.update", {"text": "a"}, "invalid_arguments"),
        ("conversations.history", {"oldest": "NaN"}, "invalid_ts_oldest"),
        ("conversations.open", {"channel": None, "users": "U0A,U0B"}, "user_not_found"),
        ("reactions.add", {"name": "eyes"}, "invalid_arguments"),
        ("reactions.remove", {"name": "eyes"}, "no_item_specified"),
        ("api.test", {"channel": None, "error": "my_error"}, "my_error"),
    ],
)
async def test_refused(room: Room, method: str, args: dict[str, Any], error: str) -> None:
    given = {"channel": room.channel, **args}
    body = {name: value for name, value in given.items() if value is not None}
    assert (await refused(room.client.api_call(method, json=body)))["error"] == error


@pytest.mark.parametrize(
    ("body", "content_type", "error"),
    [
        ("[1]", "application/json", "json_not_object"),
        ("{", "application/json", "invalid_json"),
        ("<a/>", "text/xml", "invalid_post_type"),
    ],
)
async def test_bodies_that_cannot_be_read(
    room: Room, body: str, content_type: str, error: str
) -> None:
    # Source: https://docs.slack.dev/apis/web-api/ ("POST bodies")
    headers = {"Authorization": f"Bearer {BOT_TOKEN}", "Content-Type": content_type}
    url = f"{room.base}chat.postMessage"
    async with (
        aiohttp.ClientSession() as session,
        session.post(url, data=body, headers=headers) as answer,
    ):
        assert (await answer.json())["error"] == error


async def test_a_token_may_come_as_an_argument_but_not_for_the_socket(room: Room) -> None:
    # Source: https://docs.slack.dev/reference/methods/apps.connections.open ("passing it as a
    # POST parameter will result in an error")
    async with aiohttp.ClientSession() as session:
        url = f"{room.base}auth.test"
        async with session.post(url, data={"token": BOT_TOKEN}) as answer:
            assert (await answer.json())["ok"] is True
        url = f"{room.base}apps.connections.open"
        async with session.post(url, data={"token": APP_TOKEN}) as answer:
            assert (await answer.json())["error"] == "not_authed"


async def test_api_test_answers_anybody(room: Room) -> None:
    answer = await room.client.api_test(foo="bar")
    assert answer["args"]["foo"] == "bar"


async def test_a_reply_shown_to_the_channel_counts_in_both(room: Room) -> None:
    root = await post(room)
    await post(room, thread_ts=root, reply_broadcast=True)
    _, reply = room.chat.thread(room.channel, root)
    assert reply["subtype"] == "thread_broadcast"


async def test_a_markdown_text_and_attachments(room: Room) -> None:
    answer = await room.client.chat_postMessage(channel=room.channel, markdown_text="**a**")
    assert answer["message"]["text"] == "**a**"
    ts = await post(room, attachments=[{"text": "more"}])
    changed = await room.client.chat_update(channel=room.channel, ts=ts, text="a", attachments=[])
    assert "attachments" not in changed["message"]


async def test_an_ephemeral_message_in_a_thread_can_be_pressed(room: Room) -> None:
    root = await post(room)
    answer = await room.client.chat_postEphemeral(
        channel=room.channel,
        user=room.ana,
        thread_ts=root,
        text="Sure?",
        blocks=[actions(button("yes"))],
    )
    delivery = await room.chat.press(room.ana, room.channel, answer["message_ts"], "yes")
    container = delivery.payload["container"]
    assert (container["is_ephemeral"], container["thread_ts"]) == (True, root)
    assert "message" not in delivery.payload


class TestOpen:
    async def test_with_the_bot_itself(self, room: Room) -> None:
        call = room.client.conversations_open(users=room.chat.bot_user)
        assert (await refused(call))["error"] == "cannot_dm_bot"

    async def test_with_two_people_is_not_played(self, room: Room) -> None:
        ben = room.chat.add_user("U0BEN00001", "Ben Sallow")
        call = room.client.conversations_open(users=[room.ana, ben])
        assert (await refused(call))["error"] == "method_not_supported_for_channel_type"

    async def test_without_making_it(self, room: Room) -> None:
        call = room.client.conversations_open(users=room.ana, prevent_creation=True)
        assert (await refused(call))["error"] == "channel_not_found"

    async def test_by_its_own_id(self, room: Room) -> None:
        opened = await room.client.conversations_open(users=room.ana)
        again = await room.client.conversations_open(channel=opened["channel"]["id"])
        assert again["no_op"] is True
        shown = await room.client.conversations_info(channel=opened["channel"]["id"])
        assert (shown["channel"]["is_im"], shown["channel"]["user"]) == (True, room.ana)


async def test_only_open_public_channels_can_be_joined(room: Room) -> None:
    hidden = room.chat.add_channel("staff", private=True)
    call = room.client.conversations_join(channel=hidden)
    assert (await refused(call))["error"] == "method_not_supported_for_channel_type"
    await room.chat.archive(room.channel)
    call = room.client.conversations_join(channel=room.channel)
    assert (await refused(call))["error"] == "is_archived"
    listed = await room.client.conversations_list(exclude_archived=True, types="public_channel")
    assert listed["channels"] == []
    with pytest.raises(NotThere):
        await room.chat.say(room.ana, room.channel, "hello")


async def test_a_tombstone_cannot_be_pinned(room: Room) -> None:
    root = await post(room)
    await post(room, thread_ts=root)
    await room.client.chat_delete(channel=room.channel, ts=root)
    call = room.client.pins_add(channel=room.channel, timestamp=root)
    assert (await refused(call))["error"] == "not_pinnable"


async def test_a_tombstone_is_told_as_a_change(room: Room) -> None:
    # From memory: no page shows it.
    root = await post(room)
    await post(room, thread_ts=root)
    await room.chat.settle()
    await room.chat.delete(room.ana, room.channel, root)
    event = room.app.events()[-1]
    assert event["subtype"] == "message_changed"
    assert event["message"]["subtype"] == "tombstone"


async def test_a_person_takes_a_pin_away(room: Room) -> None:
    root = await post(room)
    await room.client.pins_add(channel=room.channel, timestamp=root)
    await room.chat.settle()
    await room.chat.unpin(room.ana, room.channel, root)
    assert room.chat.pins(room.channel) == []
    assert room.app.events()[-1]["type"] == "pin_removed"
    with pytest.raises(NotThere):
        await room.chat.unpin(room.ana, room.channel, root)


async def test_too_many_kinds_of_reaction(room: Room) -> None:
    # `too_many_emoji` is on the page; the number (50) is ours.
    root = await post(room)
    for number in range(50):
        await room.client.reactions_add(channel=room.channel, timestamp=root, name=f"n{number}")
    call = room.client.reactions_add(channel=room.channel, timestamp=root, name="more")
    assert (await refused(call))["error"] == "too_many_emoji"


async def test_a_response_address_wants_an_object(room: Room) -> None:
    ts = await post(room, blocks=[actions(button("yes"))])
    delivery = await room.chat.press(room.ana, room.channel, ts, "yes")
    url = delivery.payload["response_url"]
    async with aiohttp.ClientSession() as session:
        for body in ("[1]", "{", json.dumps({"text": "x" * 40_001})):
            async with session.post(url, data=body) as answer:
                assert answer.status == 400
        thread = {"text": "in the thread", "thread_ts": ts, "response_type": "in_channel"}
        async with session.post(url, json=thread) as answer:
            assert answer.status == 200
    assert room.chat.thread(room.channel, ts)[1]["text"] == "in the thread"


async def test_two_redirects_are_followed_and_no_more(room: Room) -> None:
    # Source: https://docs.slack.dev/apis/events-api/ ("too_many_redirects": more than two)
    room.app.answer = lambda: web.Response(status=307, headers={"Location": room.app.url})
    await room.chat.say(room.ana, room.channel, "done")
    assert room.chat.deliveries[-1].reason == "too_many_redirects"
    assert len(room.app.got) == 3


async def test_ten_sockets_are_the_most_and_a_ticket_is_needed(room: Room) -> None:
    # Source: https://docs.slack.dev/apis/events-api/using-socket-mode (up to 10 connections)
    async with aiohttp.ClientSession() as session:
        sockets = []
        for _ in range(MOST_CONNECTIONS):
            answer = await room.client.apps_connections_open(app_token=APP_TOKEN)
            sockets.append(await session.ws_connect(answer["url"]))
            assert (await sockets[-1].receive_json())["type"] == "hello"
        answer = await room.client.apps_connections_open(app_token=APP_TOKEN)
        socket = await session.ws_connect(answer["url"])
        goodbye = await socket.receive_json()
        assert (goodbye["type"], goodbye["reason"]) == ("disconnect", "too_many_websockets")
        with pytest.raises(aiohttp.WSServerHandshakeError):
            await session.ws_connect(answer["url"].replace("ticket=", "ticket=x"))
        await room.chat.sockets.cut()


async def test_accounts_and_channels_that_are_not_there(room: Room) -> None:
    with pytest.raises(NotThere):
        await room.chat.say("U0NONE", room.channel, "hello")
    with pytest.raises(NotThere):
        await room.chat.say(room.ana, "C0NONE", "hello")
