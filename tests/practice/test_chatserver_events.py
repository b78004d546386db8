"""Events, presses and commands, as a receiver gets them that checks every signature."""

import asyncio
from collections.abc import AsyncIterator
from typing import Any

import aiohttp
import pytest
from aiohttp import web

from bot.practice.chatserver import NotThere
from bot.practice.chatserver.events import typed
from bot.practice.chatserver.specs import ALL_SCOPES
from bot.practice.chatserver.transport import sign
from tests.practice.chatserver_kit import Room, actions, button, open_room, section

MINUTE = 60_000


@pytest.fixture
async def room() -> AsyncIterator[Room]:
    async with open_room() as opened:
        yield opened


async def ask(room: Room, *elements: Any, **fields: Any) -> str:
    """The bot posts a question with buttons; its stamp."""
    answer = await room.client.chat_postMessage(
        channel=room.channel, text="Done?", blocks=[section(), actions(*elements)], **fields
    )
    await room.chat.settle()
    return str(answer["ts"])


def test_the_published_signing_example() -> None:
    # Source: https://docs.slack.dev/authentication/verifying-requests-from-slack
    body = (
        "token=xyzz0WbapA4vBCDEFasx0q6G&team_id=T1DC2JH3J&team_domain=testteamnow"
        "&channel_id=G8PSS9T3V&channel_name=foobar&user_id=U2CERLKJA&user_name=roadrunner"
        "&command=%2Fwebhook-collect&text=&response_url=https%3A%2F%2Fhooks.slack.com"
        "%2Fcommands%2FT1DC2JH3J%2F397700885554%2F96rGlfmibIGlgcZRskXaIFfN"
        "&trigger_id=398738663015.47445629121.803a0bc887a14d10d2c447fce8b6703c"
    )
    signature = sign("8f742231b10e8888abcd99yyyzzz85a5", "1531420618", body.encode())
    assert signature == "v0=a2114d57b48eac39b9ad189dd8316235a7b4a8d21a10bd27519666489c69b503"


@pytest.mark.parametrize(
    ("text", "arrives"),
    [
        # Source: https://docs.slack.dev/messaging/formatting-message-text (escaping, links)
        ("a < b & c > d", "a &lt; b &amp; c &gt; d"),
        ("see https://example.org/a now", "see <https://example.org/a> now"),
        ("<@U0ANA00001> ok", "<@U0ANA00001> ok"),
        ("ask a.b@example.org", "ask <mailto:a.b@example.org|a.b@example.org>"),
    ],
)
def test_typed_text_arrives_escaped(text: str, arrives: str) -> None:
    assert typed(text) == arrives


async def test_a_message_event(room: Room) -> None:
    # Source: https://docs.slack.dev/apis/events-api/ and .../reference/events/message
    ts = await room.chat.say(room.ana, room.channel, "green & blinking")
    (got,) = room.app.got
    outer = got.json
    assert outer["type"] == "event_callback"
    assert outer["event_id"].startswith("Ev")
    assert outer["authorizations"][0]["user_id"] == room.chat.bot_user
    event = got.event
    assert (event["type"], event["user"], event["ts"]) == ("message", room.ana, ts)
    assert event["text"] == "green &amp; blinking"
    assert (event["channel"], event["channel_type"]) == (room.channel, "channel")
    assert "x-slack-retry-num" not in got.headers


async def test_a_reply_names_its_root(room: Room) -> None:
    root = await room.chat.say(room.ana, room.channel, "root")
    await room.chat.say(room.ana, room.channel, "reply", thread_ts=root)
    assert room.app.events()[1]["thread_ts"] == root
    with pytest.raises(NotThere):
        await room.chat.say(room.ana, room.channel, "reply", thread_ts="1600000000.000001")


async def test_a_mention_is_two_events(room: Room) -> None:
    await room.chat.mention(room.ana, room.channel, "help")
    types = [event["type"] for event in room.app.events()]
    assert sorted(types) == ["app_mention", "message"]
    assert {event["ts"] for event in room.app.events()} == {room.app.events()[0]["ts"]}


async def test_a_direct_message(room: Room) -> None:
    await room.chat.dm(room.ana, "hello")
    (event,) = room.app.events()
    assert event["channel_type"] == "im"
    assert event["channel"].startswith("D")


async def test_an_edit_and_a_deletion(room: Room) -> None:
    # Source: .../reference/events/message/message_changed and message_deleted
    ts = await room.chat.say(room.ana, room.channel, "gren")
    await room.chat.edit(room.ana, room.channel, ts, "green")
    await room.chat.delete(room.ana, room.channel, ts)
    _, changed, deleted = room.app.events()
    assert changed["subtype"] == "message_changed"
    assert changed["message"]["text"] == "green"
    assert changed["message"]["edited"]["user"] == room.ana
    assert changed["previous_message"]["text"] == "gren"
    assert deleted["subtype"] == "message_deleted"
    assert deleted["deleted_ts"] == ts
    with pytest.raises(NotThere):
        await room.chat.edit(room.ana, room.channel, ts, "again")


async def test_nobody_edits_what_another_wrote(room: Room) -> None:
    ts = await ask(room, button())
    with pytest.raises(NotThere):
        await room.chat.edit(room.ana, room.channel, ts, "no")


async def test_files_make_a_file_share(room: Room) -> None:
    picture = {"id": "F1", "mimetype": "image/png"}
    await room.chat.say(room.ana, room.channel, "look", files=[picture])
    (event,) = room.app.events()
    assert event["subtype"] == "file_share"
    assert event["files"] == [picture]


async def test_a_reaction_and_an_account_change(room: Room) -> None:
    ts = await room.chat.say(room.ana, room.channel, "done")
    await room.chat.react(room.ana, room.channel, ts, "thumbsup")
    await room.chat.change_user(room.ana, deleted=True, name="Ana Vale")
    _, reaction, change = room.app.events()
    assert reaction["type"] == "reaction_added"
    assert reaction["item"] == {"type": "message", "channel": room.channel, "ts": ts}
    assert change["type"] == "user_change"
    assert change["user"]["deleted"] is True
    assert change["user"]["profile"]["real_name"] == "Ana Vale"
    with pytest.raises(NotThere):
        await room.chat.say(room.ana, room.channel, "still here")


async def test_what_the_bot_does_comes_back_to_it(room: Room) -> None:
    ts = await ask(room, button())
    await room.client.chat_update(channel=room.channel, ts=ts, text="Thanks.")
    await room.chat.settle()
    posted, changed = room.app.events()
    assert posted["bot_id"]
    assert changed["subtype"] == "message_changed"


async def test_no_echo_when_it_is_not_wanted() -> None:
    async with open_room(echo=False) as room:
        await ask(room, button())
        assert room.app.got == []


async def test_events_of_channels_the_bot_is_not_in_do_not_come(room: Room) -> None:
    lobby = room.chat.add_channel("lobby", members=[room.ana], with_bot=False)
    await room.chat.say(room.ana, lobby, "smoke")
    assert room.app.got == []


@pytest.mark.parametrize(
    ("scope", "left"),
    [
        ("channels:history", ["app_mention", "reaction_added", "user_change"]),
        ("app_mentions:read", ["message", "reaction_added", "user_change"]),
        ("reactions:read", ["app_mention", "message", "user_change"]),
        ("users:read", ["app_mention", "message", "reaction_added"]),
    ],
)
async def test_an_event_comes_only_with_its_scope(scope: str, left: list[str]) -> None:
    # Source: the event's page, https://docs.slack.dev/reference/events/EVENT, "Facts".
    async with open_room(scopes=ALL_SCOPES - {scope}) as room:
        ts = await room.chat.mention(room.ana, room.channel, "help")
        await room.chat.react(room.ana, room.channel, ts, "eyes")
        await room.chat.change_user(room.ana, name="Ana Vale")
        assert sorted(event["type"] for event in room.app.events()) == left


async def test_the_events_address_is_proved(room: Room) -> None:
    # Source: https://docs.slack.dev/reference/events/url_verification
    assert await room.chat.verify_url() is False
    room.app.answer = lambda: web.Response(text=room.app.got[-1].json["challenge"])
    assert await room.chat.verify_url() is True


class TestResending:
    """Source: https://docs.slack.dev/apis/events-api/ ("Retries")."""

    async def test_three_times_at_once_after_a_minute_and_after_five(self, room: Room) -> None:
        room.app.answer = lambda: web.Response(status=500)
        await room.chat.say(room.ana, room.channel, "done")
        assert room.chat.pending == 1
        assert room.chat.in_flight == 0
        waits = []
        while (due := room.chat.next_due()) is not None:
            waits.append(due - room.clock.now)
            assert await room.chat.deliver_due(due - 1) == 0
            room.clock.now = due
            assert await room.chat.deliver_due(due) == 1
        assert waits == [0, MINUTE, 5 * MINUTE]
        numbers = [got.headers.get("x-slack-retry-num") for got in room.app.got]
        assert numbers == [None, "1", "2", "3"]
        assert room.app.got[1].headers["x-slack-retry-reason"] == "http_error"
        assert len({got.json["event_id"] for got in room.app.got}) == 1
        assert room.chat.pending == 0
        assert len(room.chat.sender.lost) == 1

    async def test_no_more_once_it_is_taken(self, room: Room) -> None:
        room.app.answer = lambda: web.Response(status=503)
        await room.chat.say(room.ana, room.channel, "done")
        room.app.answer = web.Response
        await room.chat.deliver_due(room.clock.now)
        assert room.chat.next_due() is None
        assert room.chat.sender.lost == []

    async def test_an_answer_that_is_too_late_does_not_count(self, room: Room) -> None:
        room.chat.sender.ack_seconds = 0.05
        room.app.hold = asyncio.Event()
        await room.chat.say(room.ana, room.channel, "done")
        room.app.hold.set()
        await room.chat.deliver_due(room.clock.now)
        assert room.app.got[1].headers["x-slack-retry-reason"] == "http_timeout"

    async def test_the_time_to_answer_is_three_seconds(self, room: Room) -> None:
        assert room.chat.sender.ack_seconds == 3.0

    async def test_nobody_listening(self, room: Room) -> None:
        room.chat.events_url = "http://127.0.0.1:1/chat"
        await room.chat.say(room.ana, room.channel, "done")
        room.chat.events_url = room.app.url
        await room.chat.deliver_due(room.clock.now)
        assert room.app.got[0].headers["x-slack-retry-reason"] == "connection_failed"

    async def test_the_app_may_turn_resending_off(self, room: Room) -> None:
        room.app.answer = lambda: web.Response(status=500, headers={"x-slack-no-retry": "1"})
        await room.chat.say(room.ana, room.channel, "done")
        assert room.chat.next_due() is None

    async def test_in_the_background_nobody_waits_for_the_app(self) -> None:
        async with open_room(background=True) as room:
            room.app.hold = asyncio.Event()
            await room.chat.say(room.ana, room.channel, "done")
            assert room.chat.in_flight == 1
            room.app.hold.set()
            await room.chat.settle()
            assert room.chat.pending == 0


class TestPress:
    """Source: https://docs.slack.dev/reference/interaction-payloads/block_actions-payload."""

    async def test_what_a_press_carries(self, room: Room) -> None:
        root = await ask(room, button())
        ts = await ask(room, button("yes", value="v1:3"), button("no"), thread_ts=root)
        delivery = await room.chat.press(room.ana, room.channel, ts, "yes")
        assert delivery.ok
        body = room.app.got[-1].json
        assert body["type"] == "block_actions"
        assert body["user"]["id"] == room.ana
        assert body["channel"]["id"] == room.channel
        assert body["container"]["message_ts"] == ts
        assert body["container"]["thread_ts"] == root
        assert body["message"]["ts"] == ts
        assert body["state"] == {"values": {}}
        assert body["response_url"].startswith("http://127.0.0.1")
        (action,) = body["actions"]
        assert (action["action_id"], action["value"]) == ("yes", "v1:3")
        assert action["block_id"] == body["message"]["blocks"][1]["block_id"]

    async def test_only_what_stands_there_now_can_be_pressed(self, room: Room) -> None:
        ts = await ask(room, button("yes"))
        with pytest.raises(KeyError):
            await room.chat.press(room.ana, room.channel, ts, "no")
        await room.client.chat_update(channel=room.channel, ts=ts, text="Thanks.")
        with pytest.raises(NotThere):
            await room.chat.press(room.ana, room.channel, ts, "yes")
        with pytest.raises(NotThere):
            await room.chat.press(room.ana, room.channel, "1600000000.000001", "yes")

    async def test_a_failed_press_is_seen_and_not_resent(self, room: Room) -> None:
        # Source: https://docs.slack.dev/interactivity/handling-user-interaction
        ts = await ask(room, button("yes"))
        room.app.answer = lambda: web.Response(status=500)
        delivery = await room.chat.press(room.ana, room.channel, ts, "yes")
        assert (delivery.ok, delivery.status) == (False, 500)
        assert room.chat.pending == 0

    async def test_a_press_too_slow(self, room: Room) -> None:
        ts = await ask(room, button("yes"))
        room.chat.sender.ack_seconds = 0.05
        room.app.hold = asyncio.Event()
        delivery = await room.chat.press(room.ana, room.channel, ts, "yes")
        assert (delivery.ok, delivery.status, delivery.reason) == (False, None, "http_timeout")

    async def test_a_button_beside_a_section(self, room: Room) -> None:
        answer = await room.client.chat_postMessage(
            channel=room.channel, text="a", blocks=[section(accessory=button("open"))]
        )
        delivery = await room.chat.press(room.ana, room.channel, answer["ts"], "open")
        assert delivery.payload["actions"][0]["action_id"] == "open"

    async def test_a_choice_in_a_menu(self, room: Room) -> None:
        choices = [
            {"text": {"type": "plain_text", "text": word}, "value": word}
            for word in ("loose", "broken")
        ]
        menu = {"type": "static_select", "action_id": "cable", "options": choices}
        ts = await ask(room, menu)
        delivery = await room.chat.press(room.ana, room.channel, ts, "cable", option="broken")
        assert delivery.payload["actions"][0]["selected_option"]["value"] == "broken"
        with pytest.raises(NotThere):
            await room.chat.press(room.ana, room.channel, ts, "cable", option="lost")

    async def test_presses_and_commands_may_have_addresses_of_their_own(self, room: Room) -> None:
        ts = await ask(room, button("yes"))
        room.chat.interactive_url = room.app.url
        room.chat.command_url = room.app.url
        room.chat.events_url = "http://127.0.0.1:1/chat"
        assert (await room.chat.press(room.ana, room.channel, ts, "yes")).ok
        assert (await room.chat.command(room.ana, room.channel, "/wave", "")).ok


async def test_a_command(room: Room) -> None:
    # Source: https://docs.slack.dev/interactivity/implementing-slash-commands
    room.app.answer = lambda: web.Response(text="36 sites")
    delivery = await room.chat.command(room.ana, room.channel, "/wave", "site 4 & 5")
    assert (delivery.ok, delivery.body) == (True, "36 sites")
    fields = room.app.got[0].json
    assert fields["command"] == "/wave"
    assert fields["text"] == "site 4 & 5"
    assert fields["channel_id"] == room.channel
    assert fields["user_id"] == room.ana
    assert "thread_ts" not in fields


async def test_without_its_scope_the_app_has_no_command() -> None:
    async with open_room(scopes=ALL_SCOPES - {"commands"}) as room:
        with pytest.raises(NotThere):
            await room.chat.command(room.ana, room.channel, "/wave", "")


class TestResponseUrl:
    """Source: https://docs.slack.dev/interactivity/handling-user-interaction."""

    async def send(self, url: str, **body: Any) -> int:
        async with aiohttp.ClientSession() as session, session.post(url, json=body) as answer:
            return answer.status

    async def url(self, room: Room, ts: str) -> str:
        delivery = await room.chat.press(room.ana, room.channel, ts, "yes")
        return str(delivery.payload["response_url"])

    async def test_it_replaces_the_message(self, room: Room) -> None:
        ts = await ask(room, button("yes"))
        url = await self.url(room, ts)
        assert await self.send(url, replace_original=True, text="Thanks.") == 200
        (message,) = room.chat.messages(room.channel)
        assert message["text"] == "Thanks."
        assert "blocks" not in message

    async def test_it_deletes_or_answers_one_person_or_all(self, room: Room) -> None:
        ts = await ask(room, button("yes"))
        url = await self.url(room, ts)
        await self.send(url, text="only you")
        assert room.chat.ephemeral(room.channel)[0]["ephemeral_to"] == room.ana
        await self.send(url, text="all", response_type="in_channel")
        await self.send(url, delete_original=True)
        assert [message["text"] for message in room.chat.messages(room.channel)] == ["all"]

    async def test_five_times_within_half_an_hour(self, room: Room) -> None:
        ts = await ask(room, button("yes"))
        url = await self.url(room, ts)
        statuses = [await self.send(url, text=str(number)) for number in range(6)]
        assert statuses == [200] * 5 + [404]
        later = await self.url(room, ts)
        room.clock.on(30 * MINUTE + 1)
        assert await self.send(later, text="late") == 404
        assert await self.send(later + "x", text="a") == 404
