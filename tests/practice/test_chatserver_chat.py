"""chat.*: what is stored, what comes back, what is refused.

Source of the errors, unless a test says otherwise: the "Errors" table of each method's page,
https://docs.slack.dev/reference/methods/METHOD.
"""

from collections.abc import AsyncIterator

import aiohttp
import pytest

from bot.practice.chatserver import Posted
from bot.practice.chatserver.server import APP_TOKEN, BOT_TOKEN
from bot.practice.chatserver.specs import ALL_SCOPES
from tests.practice.chatserver_kit import (
    Room,
    actions,
    button,
    client_of,
    open_room,
    refused,
    section,
)

METADATA = {"event_type": "step", "event_payload": {"id": "v1:3"}}


@pytest.fixture
async def room() -> AsyncIterator[Room]:
    async with open_room() as opened:
        yield opened


async def test_a_post_is_stored_and_given_back_with_ids_filled_in(room: Room) -> None:
    blocks = [section(), actions(button())]
    answer = await room.client.chat_postMessage(channel=room.channel, text="Step 1", blocks=blocks)
    message = answer["message"]
    assert message["text"] == "Step 1"
    assert message["user"] == room.chat.bot_user
    assert all(block["block_id"] for block in message["blocks"])
    assert room.chat.messages(room.channel) == [message]


async def test_stamps_come_from_wave_time_and_are_unique_within_a_channel(room: Room) -> None:
    first = await room.client.chat_postMessage(channel=room.channel, text="a")
    second = await room.client.chat_postMessage(channel=room.channel, text="b")
    room.clock.on(1_500)
    third = await room.client.chat_postMessage(channel=room.channel, text="c")
    stamps = [first["ts"], second["ts"], third["ts"]]
    assert stamps == ["1700000000.000001", "1700000000.000002", "1700000001.500001"]


async def test_two_channels_may_hold_the_same_stamp(room: Room) -> None:
    other = room.chat.add_channel("wave-2")
    first = await room.client.chat_postMessage(channel=room.channel, text="a")
    second = await room.client.chat_postMessage(channel=other, text="b")
    assert first["ts"] == second["ts"]


async def test_a_channel_may_be_named_and_a_person_stands_for_the_conversation(
    room: Room,
) -> None:
    named = await room.client.chat_postMessage(channel="#wave-1", text="a")
    direct = await room.client.chat_postMessage(channel=room.ana, text="b")
    assert named["channel"] == room.channel
    opened = await room.client.conversations_open(users=room.ana)
    assert direct["channel"] == opened["channel"]["id"]


async def test_a_reply_joins_its_thread(room: Room) -> None:
    root = await room.client.chat_postMessage(channel=room.channel, text="root")
    reply = await room.client.chat_postMessage(
        channel=room.channel, text="reply", thread_ts=root["ts"]
    )
    nested = await room.client.chat_postMessage(
        channel=room.channel, text="nested", thread_ts=reply["ts"]
    )
    assert nested["message"]["thread_ts"] == root["ts"]
    thread = room.chat.thread(room.channel, root["ts"])
    assert [message["text"] for message in thread] == ["root", "reply", "nested"]
    assert thread[0]["reply_count"] == 2
    assert thread[0]["latest_reply"] == nested["ts"]


async def test_a_form_is_taken_like_json(room: Room) -> None:
    # Source: "Web API", https://docs.slack.dev/apis/web-api/ (both content types).
    form = {"channel": room.channel, "text": "a", "blocks": '[{"type": "divider"}]'}
    headers = {"Authorization": f"Bearer {BOT_TOKEN}"}
    async with aiohttp.ClientSession(headers=headers) as session:
        async with session.post(f"{room.base}chat.postMessage", data=form) as answer:
            assert (await answer.json())["ok"] is True
        async with session.post(f"{room.base}chat.postMessage", data="[1]") as answer:
            assert (await answer.json())["error"] == "invalid_post_type"
        bad = {"Content-Type": "application/json"}
        async with session.post(f"{room.base}chat.postMessage", data="{", headers=bad) as answer:
            assert (await answer.json())["error"] == "invalid_json"
    assert room.chat.messages(room.channel)[0]["blocks"][0]["type"] == "divider"


class TestRefusedPosts:
    async def test_no_token(self, room: Room) -> None:
        async with (
            aiohttp.ClientSession() as session,
            session.post(f"{room.base}chat.postMessage", json={"channel": room.channel}) as answer,
        ):
            assert (await answer.json())["error"] == "not_authed"

    async def test_a_wrong_token(self, room: Room) -> None:
        client = client_of(room.base, "xoxb-other")
        answer = await refused(client.chat_postMessage(channel=room.channel, text="a"))
        assert answer["error"] == "invalid_auth"

    async def test_the_app_token(self, room: Room) -> None:
        client = client_of(room.base, APP_TOKEN)
        answer = await refused(client.chat_postMessage(channel=room.channel, text="a"))
        assert answer["error"] == "not_allowed_token_type"

    async def test_a_missing_scope_names_what_is_needed_and_provided(self) -> None:
        async with open_room(scopes=frozenset({"users:read"})) as room:
            call = room.client.chat_postMessage(channel=room.channel, text="a")
            answer = await refused(call)
        assert answer["error"] == "missing_scope"
        assert answer["needed"] == "chat:write"
        assert answer["provided"] == "users:read"

    async def test_another_name_without_its_scope(self) -> None:
        async with open_room(scopes=ALL_SCOPES - {"chat:write.customize"}) as room:
            answer = await refused(
                room.client.chat_postMessage(channel=room.channel, text="a", username="Desk")
            )
        assert answer["needed"] == "chat:write.customize"

    async def test_an_unknown_method(self, room: Room) -> None:
        answer = await refused(room.client.api_call("chat.postMesage"))
        assert answer["error"] == "unknown_method"

    async def test_an_unknown_argument(self, room: Room) -> None:
        call = room.client.api_call(
            "chat.postMessage", json={"channel": room.channel, "text": "a", "colour": "red"}
        )
        answer = await refused(call)
        assert answer["error"] == "invalid_arguments"
        assert "colour" in answer["response_metadata"]["messages"][0]

    async def test_an_unknown_argument_passes_when_not_strict(self) -> None:
        async with open_room(strict=False) as room:
            answer = await room.client.api_call(
                "chat.postMessage", json={"channel": room.channel, "text": "a", "colour": "red"}
            )
            assert answer["ok"] is True

    async def test_an_unknown_channel(self, room: Room) -> None:
        answer = await refused(room.client.chat_postMessage(channel="C0NONE", text="a"))
        assert answer["error"] == "channel_not_found"

    async def test_a_private_channel_the_bot_is_not_in(self, room: Room) -> None:
        hidden = room.chat.add_channel("staff", private=True, with_bot=False)
        answer = await refused(room.client.chat_postMessage(channel=hidden, text="a"))
        assert answer["error"] == "channel_not_found"

    async def test_a_public_channel_the_bot_is_not_in(self) -> None:
        async with open_room(scopes=ALL_SCOPES - {"chat:write.public"}) as room:
            outside = room.chat.add_channel("lobby", with_bot=False)
            answer = await refused(room.client.chat_postMessage(channel=outside, text="a"))
        assert answer["error"] == "not_in_channel"

    async def test_an_archived_channel(self, room: Room) -> None:
        await room.chat.archive(room.channel)
        answer = await refused(room.client.chat_postMessage(channel=room.channel, text="a"))
        assert answer["error"] == "is_archived"

    async def test_nothing_to_show(self, room: Room) -> None:
        with pytest.warns(UserWarning, match="text"):  # the client warns before it calls
            answer = await refused(room.client.chat_postMessage(channel=room.channel, text=""))
        assert answer["error"] == "no_text"

    async def test_a_text_that_is_too_long(self, room: Room) -> None:
        # 40,000 characters: https://docs.slack.dev/reference/methods/chat.postMessage
        # ("Truncating content"); the stand-in refuses what the platform would cut.
        longest = await room.client.chat_postMessage(channel=room.channel, text="x" * 40_000)
        assert longest["ok"] is True
        call = room.client.chat_postMessage(channel=room.channel, text="x" * 40_001)
        assert (await refused(call))["error"] == "msg_too_long"

    async def test_markdown_together_with_text(self, room: Room) -> None:
        call = room.client.chat_postMessage(channel=room.channel, text="a", markdown_text="b")
        assert (await refused(call))["error"] == "markdown_text_conflict"

    async def test_more_than_a_hundred_attachments(self, room: Room) -> None:
        many = [{"text": "a"}] * 101
        call = room.client.chat_postMessage(channel=room.channel, text="a", attachments=many)
        assert (await refused(call))["error"] == "too_many_attachments"

    async def test_a_thread_that_is_no_stamp(self, room: Room) -> None:
        # Reported answer of the platform: https://github.com/jenkinsci/slack-plugin/issues/584
        call = room.client.chat_postMessage(channel=room.channel, text="a", thread_ts="0")
        assert (await refused(call))["error"] == "invalid_thread_ts"

    async def test_a_thread_that_is_not_there(self, room: Room) -> None:
        call = room.client.chat_postMessage(
            channel=room.channel, text="a", thread_ts="1600000000.000001"
        )
        assert (await refused(call))["error"] == "thread_not_found"

    @pytest.mark.parametrize(
        ("metadata", "error"),
        [
            ("{", "invalid_metadata_format"),
            ([1], "invalid_metadata_format"),
            ({"event_type": "step"}, "invalid_metadata_format"),
            ({"event_payload": {}}, "invalid_metadata_format"),
            ({**METADATA, "more": 1}, "invalid_metadata_format"),
            ({"event_type": "s", "event_payload": {"x": "y" * 13_000}}, "metadata_too_large"),
        ],
    )
    async def test_bad_metadata(self, room: Room, metadata: object, error: str) -> None:
        body = {"channel": room.channel, "text": "a", "metadata": metadata}
        answer = await refused(room.client.api_call("chat.postMessage", json=body))
        assert answer["error"] == error


async def test_as_the_platform_a_reply_to_a_lost_root_lands_in_the_channel() -> None:
    # Reported behaviour: https://github.com/slack-go/slack/issues/1571
    async with open_room() as room:
        room.chat.rules.refuse_unknown_thread = False
        answer = await room.client.chat_postMessage(
            channel=room.channel, text="a", thread_ts="1600000000.000001"
        )
    assert "thread_ts" not in answer["message"]


class TestUpdate:
    async def test_text_without_blocks_takes_the_blocks_away(self, room: Room) -> None:
        # Source: https://docs.slack.dev/reference/methods/chat.update, argument `blocks`.
        root = await room.client.chat_postMessage(
            channel=room.channel, text="a", blocks=[actions(button())]
        )
        answer = await room.client.chat_update(channel=room.channel, ts=root["ts"], text="b")
        assert "blocks" not in answer["message"]
        assert answer["message"]["edited"]["user"] == room.chat.bot_user

    async def test_blocks_without_text_keep_the_text(self, room: Room) -> None:
        root = await room.client.chat_postMessage(
            channel=room.channel, text="a", blocks=[section()]
        )
        body = {"channel": room.channel, "ts": root["ts"], "blocks": [section("New.")]}
        answer = await room.client.api_call("chat.update", json=body)
        assert answer["message"]["text"] == "a"
        assert answer["message"]["blocks"][0]["text"]["text"] == "New."
        assert "edited" not in answer["message"]

    async def test_metadata_stays_unless_given_and_an_empty_object_removes_it(
        self, room: Room
    ) -> None:
        root = await room.client.chat_postMessage(channel=room.channel, text="a", metadata=METADATA)
        where = {"channel": room.channel, "ts": root["ts"]}
        kept = await room.client.chat_update(**where, text="b")
        assert kept["message"]["metadata"] == METADATA
        gone = await room.client.chat_update(**where, text="c", metadata={})
        assert "metadata" not in gone["message"]

    async def test_a_message_that_is_not_there(self, room: Room) -> None:
        call = room.client.chat_update(channel=room.channel, ts="1600000000.000001", text="b")
        assert (await refused(call))["error"] == "message_not_found"

    async def test_a_message_of_somebody_else(self, room: Room) -> None:
        ts = await room.chat.say(room.ana, room.channel, "hello")
        call = room.client.chat_update(channel=room.channel, ts=ts, text="b")
        assert (await refused(call))["error"] == "cant_update_message"

    async def test_an_archived_channel(self, room: Room) -> None:
        root = await room.client.chat_postMessage(channel=room.channel, text="a")
        await room.chat.archive(room.channel)
        call = room.client.chat_update(channel=room.channel, ts=root["ts"], text="b")
        assert (await refused(call))["error"] == "is_inactive"

    async def test_nothing_new(self, room: Room) -> None:
        root = await room.client.chat_postMessage(channel=room.channel, text="a")
        body = {"channel": room.channel, "ts": root["ts"]}
        answer = await refused(room.client.api_call("chat.update", json=body))
        assert answer["error"] == "no_text"

    async def test_an_edit_is_too_long_earlier_than_a_post(self, room: Room) -> None:
        # No page states the number; reported in
        # https://github.com/seratch/ChatGPT-in-Slack/issues/102.
        root = await room.client.chat_postMessage(channel=room.channel, text="x" * 4_001)
        call = room.client.chat_update(channel=room.channel, ts=root["ts"], text="x" * 4_001)
        assert (await refused(call))["error"] == "msg_too_long"

    async def test_a_person_is_no_channel_for_an_edit(self, room: Room) -> None:
        # "ensure that this value is a DM ID": the page's argument `channel`.
        root = await room.client.chat_postMessage(channel=room.ana, text="a")
        call = room.client.chat_update(channel=room.ana, ts=root["ts"], text="b")
        assert (await refused(call))["error"] == "channel_not_found"


class TestDelete:
    async def test_a_deleted_message_is_gone(self, room: Room) -> None:
        root = await room.client.chat_postMessage(channel=room.channel, text="a")
        await room.client.chat_delete(channel=room.channel, ts=root["ts"])
        assert room.chat.messages(room.channel) == []
        again = room.client.chat_delete(channel=room.channel, ts=root["ts"])
        assert (await refused(again))["error"] == "message_not_found"

    async def test_a_root_with_replies_leaves_a_tombstone(self, room: Room) -> None:
        # From memory: no page shows it.
        root = await room.client.chat_postMessage(channel=room.channel, text="a")
        await room.client.chat_postMessage(channel=room.channel, text="b", thread_ts=root["ts"])
        await room.client.chat_delete(channel=room.channel, ts=root["ts"])
        thread = room.chat.thread(room.channel, root["ts"])
        assert [message.get("subtype") for message in thread] == ["tombstone", None]

    async def test_a_message_of_somebody_else(self, room: Room) -> None:
        ts = await room.chat.say(room.ana, room.channel, "hello")
        answer = await refused(room.client.chat_delete(channel=room.channel, ts=ts))
        assert answer["error"] == "cant_delete_message"

    async def test_a_reply_leaves_the_count(self, room: Room) -> None:
        root = await room.client.chat_postMessage(channel=room.channel, text="a")
        reply = await room.client.chat_postMessage(
            channel=room.channel, text="b", thread_ts=root["ts"]
        )
        await room.client.chat_delete(channel=room.channel, ts=reply["ts"])
        assert room.chat.thread(room.channel, root["ts"])[0]["reply_count"] == 0


async def test_an_ephemeral_message_is_seen_by_one_and_cannot_be_edited(room: Room) -> None:
    answer = await room.client.chat_postEphemeral(channel=room.channel, user=room.ana, text="psst")
    assert [m["ephemeral_to"] for m in room.chat.ephemeral(room.channel)] == [room.ana]
    assert room.chat.messages(room.channel) == []
    call = room.client.chat_update(channel=room.channel, ts=answer["message_ts"], text="b")
    assert (await refused(call))["error"] == "message_not_found"


async def test_an_ephemeral_message_needs_a_person_in_the_channel(room: Room) -> None:
    stranger = room.chat.add_user("U0BEN00001", "Ben Sallow")
    call = room.client.chat_postEphemeral(channel=room.channel, user=stranger, text="psst")
    assert (await refused(call))["error"] == "user_not_in_channel"


async def test_a_permalink_names_channel_and_stamp(room: Room) -> None:
    root = await room.client.chat_postMessage(channel=room.channel, text="a")
    reply = await room.client.chat_postMessage(channel=room.channel, text="b", thread_ts=root["ts"])
    link = await room.client.chat_getPermalink(channel=room.channel, message_ts=reply["ts"])
    assert link["permalink"].startswith("https://hollowmere.example.org/archives/")
    assert f"thread_ts={root['ts']}" in link["permalink"]
    call = room.client.chat_getPermalink(channel=room.channel, message_ts="1600000000.000001")
    assert (await refused(call))["error"] == "message_not_found"


async def test_hooks_hear_what_the_bot_did_and_not_what_people_do(room: Room) -> None:
    heard: list[Posted] = []
    room.chat.on_post.append(heard.append)
    await room.chat.say(room.ana, room.channel, "hello")
    room.clock.on(1_000)
    root = await room.client.chat_postMessage(channel=room.channel, text="a")
    await room.client.chat_update(channel=room.channel, ts=root["ts"], text="b")
    await room.client.chat_delete(channel=room.channel, ts=root["ts"])
    assert [(posted.kind, posted.at) for posted in heard] == [
        (kind, room.clock.now) for kind in ("posted", "updated", "deleted")
    ]
    assert heard[1].message["text"] == "b"


async def test_calls_are_kept_with_their_arguments_and_answers(room: Room) -> None:
    await room.client.chat_postMessage(channel=room.channel, text="a")
    await refused(room.client.chat_postMessage(channel="C0NONE", text="b"))
    good, bad = room.chat.calls
    assert good.method == "chat.postMessage"
    assert good.args["text"] == "a"
    assert good.at == room.clock.now
    assert good.done
    assert bad.error == "channel_not_found"
    assert not bad.done
