"""Reading back: history, threads, people, channels, pins, reactions.

Source: the page of each method, https://docs.slack.dev/reference/methods/METHOD.
"""

from collections.abc import AsyncIterator
from typing import Any

import pytest

from bot.practice.chatserver.specs import ALL_SCOPES
from tests.practice.chatserver_kit import Room, open_room, refused

METADATA = {"event_type": "step", "event_payload": {"id": "v1:3"}}
LOST = "1600000000.000001"


@pytest.fixture
async def room() -> AsyncIterator[Room]:
    async with open_room() as opened:
        opened.chat.limits.on = False
        yield opened


async def post(room: Room, text: str, **fields: Any) -> str:
    answer = await room.client.chat_postMessage(channel=room.channel, text=text, **fields)
    return str(answer["ts"])


def texts(answer: Any) -> list[str]:
    return [message["text"] for message in answer["messages"]]


async def test_history_is_newest_first_and_leaves_replies_out(room: Room) -> None:
    root = await post(room, "a")
    await post(room, "reply", thread_ts=root)
    await post(room, "b")
    answer = await room.client.conversations_history(channel=room.channel)
    assert texts(answer) == ["b", "a"]
    assert answer["has_more"] is False
    await post(room, "shown to all", thread_ts=root, reply_broadcast=True)
    answer = await room.client.conversations_history(channel=room.channel)
    assert texts(answer) == ["shown to all", "b", "a"]


async def test_history_comes_in_pages(room: Room) -> None:
    for number in range(5):
        await post(room, str(number))
    seen: list[str] = []
    cursor: str | None = None
    for _ in range(3):
        answer = await room.client.conversations_history(
            channel=room.channel, limit=2, cursor=cursor
        )
        seen += texts(answer)
        cursor = (answer.get("response_metadata") or {}).get("next_cursor")
    assert seen == ["4", "3", "2", "1", "0"]
    assert cursor is None


async def test_a_thread_comes_in_pages_with_its_root_on_each(room: Room) -> None:
    root = await post(room, "root")
    for number in range(3):
        await post(room, str(number), thread_ts=root)
    first = await room.client.conversations_replies(channel=room.channel, ts=root, limit=2)
    assert texts(first) == ["root", "0", "1"]
    assert first["has_more"] is True
    cursor = first["response_metadata"]["next_cursor"]
    second = await room.client.conversations_replies(
        channel=room.channel, ts=root, limit=2, cursor=cursor
    )
    assert texts(second) == ["root", "2"]
    assert second["has_more"] is False


async def test_bounds_are_open_unless_inclusive(room: Room) -> None:
    root = await post(room, "root")
    stamps = [await post(room, str(number), thread_ts=root) for number in range(4)]
    where: dict[str, Any] = {"channel": room.channel, "ts": root}
    bounds: dict[str, Any] = {"oldest": stamps[1], "latest": stamps[3]}
    between = await room.client.conversations_replies(**where, **bounds)
    assert texts(between) == ["root", "2"]
    closed = await room.client.conversations_replies(**where, **bounds, inclusive=True)
    assert texts(closed) == ["root", "1", "2", "3"]


async def test_history_between_bounds(room: Room) -> None:
    stamps = [await post(room, str(number)) for number in range(4)]
    where: dict[str, Any] = {"channel": room.channel}
    after = await room.client.conversations_history(**where, oldest=stamps[1])
    assert texts(after) == ["3", "2"]
    one = await room.client.conversations_history(
        **where, latest=stamps[2], inclusive=True, limit=1
    )
    assert texts(one) == ["2"]


async def test_a_replys_stamp_leads_to_its_thread(room: Room) -> None:
    root = await post(room, "root")
    reply = await post(room, "reply", thread_ts=root)
    answer = await room.client.conversations_replies(channel=room.channel, ts=reply)
    assert texts(answer) == ["root", "reply"]


async def test_a_message_without_replies_comes_alone(room: Room) -> None:
    root = await post(room, "root")
    answer = await room.client.conversations_replies(channel=room.channel, ts=root)
    assert texts(answer) == ["root"]
    assert "reply_count" not in answer["messages"][0]


async def test_metadata_comes_only_when_asked_for(room: Room) -> None:
    # Source: https://docs.slack.dev/reference/methods/conversations.replies, argument
    # `include_all_metadata` (false by default).
    root = await post(room, "root", metadata=METADATA)
    where: dict[str, Any] = {"channel": room.channel, "ts": root}
    plain = await room.client.conversations_replies(**where)
    assert "metadata" not in plain["messages"][0]
    asked = await room.client.conversations_replies(**where, include_all_metadata=True)
    assert asked["messages"][0]["metadata"] == METADATA
    history = await room.client.conversations_history(
        channel=room.channel, include_all_metadata=True
    )
    assert history["messages"][0]["metadata"] == METADATA


@pytest.mark.parametrize(
    ("method", "args", "error"),
    [
        ("conversations.replies", {"ts": LOST}, "thread_not_found"),
        ("conversations.replies", {"ts": LOST, "channel": "C0NONE"}, "channel_not_found"),
        ("conversations.replies", {}, "invalid_arguments"),
        ("conversations.history", {"channel": ""}, "channel_not_found"),
        ("conversations.history", {"oldest": "soon"}, "invalid_ts_oldest"),
        ("conversations.history", {"latest": "soon"}, "invalid_ts_latest"),
        ("conversations.history", {"cursor": "!!"}, "invalid_cursor"),
        ("conversations.history", {"cursor": "bm90IG91cnM="}, "invalid_cursor"),
        ("conversations.history", {"limit": 1000}, "invalid_limit"),
        ("conversations.history", {"limit": 0}, "invalid_limit"),
        ("conversations.history", {"limit": "many"}, "invalid_arguments"),
        ("conversations.list", {"channel": None, "types": "secret"}, "invalid_types"),
        ("conversations.info", {"channel": "C0NONE"}, "channel_not_found"),
        ("conversations.members", {"channel": "C0NONE"}, "channel_not_found"),
        ("conversations.open", {"channel": None}, "users_list_not_supplied"),
        ("conversations.open", {"channel": None, "users": "U0NONE"}, "user_not_found"),
        ("users.info", {"channel": None, "user": "U0NONE"}, "user_not_found"),
        ("users.info", {"channel": None}, "invalid_arguments"),
        ("team.info", {"channel": None, "team": "T0NONE"}, "team_not_found"),
        ("pins.add", {}, "no_item_specified"),
        ("pins.add", {"timestamp": LOST}, "message_not_found"),
        ("pins.add", {"timestamp": "soon"}, "bad_timestamp"),
        ("pins.remove", {"timestamp": LOST}, "message_not_found"),
        ("reactions.add", {"timestamp": LOST, "name": "eyes"}, "message_not_found"),
        ("reactions.add", {"timestamp": LOST, "name": "not a name"}, "invalid_name"),
    ],
)
async def test_refused(room: Room, method: str, args: dict[str, Any], error: str) -> None:
    given = {"channel": room.channel, **args}
    json = {name: value for name, value in given.items() if value is not None}
    assert (await refused(room.client.api_call(method, json=json)))["error"] == error


async def test_a_channel_the_bot_has_left_cannot_be_read(room: Room) -> None:
    outside = room.chat.add_channel("lobby", with_bot=False)
    call = room.client.conversations_history(channel=outside)
    assert (await refused(call))["error"] == "not_in_channel"
    await room.client.conversations_join(channel=outside)
    assert (await room.client.conversations_history(channel=outside))["ok"] is True


async def test_reading_needs_the_scope_of_the_channels_kind() -> None:
    async with open_room(scopes=ALL_SCOPES - {"groups:history"}) as room:
        hidden = room.chat.add_channel("staff", private=True)
        await room.client.conversations_history(channel=room.channel)
        answer = await refused(room.client.conversations_history(channel=hidden))
    assert answer["error"] == "missing_scope"
    assert answer["needed"] == "groups:history"


async def test_a_bot_that_may_not_read_threads_is_told(room: Room) -> None:
    # Source: https://docs.slack.dev/reference/methods/conversations.replies ("Usage info":
    # bot tokens "lack sufficient permissions to use this method on public and private
    # channels"; error `not_allowed_token_type`).
    room.chat.rules.bot_reads_threads = False
    root = await post(room, "root")
    call = room.client.conversations_replies(channel=room.channel, ts=root)
    assert (await refused(call))["error"] == "not_allowed_token_type"
    direct = await room.client.chat_postMessage(channel=room.ana, text="a")
    await room.client.conversations_replies(channel=direct["channel"], ts=direct["ts"])


async def test_a_direct_conversation_is_opened_once(room: Room) -> None:
    first = await room.client.conversations_open(users=room.ana)
    again = await room.client.conversations_open(users=[room.ana], return_im=True)
    assert again["channel"]["id"] == first["channel"]["id"]
    assert again["already_open"] is True
    assert again["channel"]["user"] == room.ana


async def test_a_disabled_account_cannot_be_opened_or_written_to(room: Room) -> None:
    await room.chat.change_user(room.ana, deleted=True)
    call = room.client.conversations_open(users=room.ana)
    assert (await refused(call))["error"] == "user_disabled"
    call = room.client.chat_postMessage(channel=room.ana, text="a")
    assert (await refused(call))["error"] == "channel_not_found"
    shown = await room.client.users_info(user=room.ana)
    assert shown["user"]["deleted"] is True
    assert "tz" not in shown["user"]


async def test_a_person_has_zone_offset_and_locale(room: Room) -> None:
    ines = room.chat.add_user("U0INES0001", "Ines Vale", tz="Europe/Lisbon", locale="pt-PT")
    answer = await room.client.users_info(user=ines, include_locale=True)
    user = answer["user"]
    assert (user["tz"], user["tz_offset"], user["locale"]) == ("Europe/Lisbon", 0, "pt-PT")
    room.clock.now = 1_720_000_000_000  # July: an hour east (IANA zone Europe/Lisbon)
    answer = await room.client.users_info(user=ines)
    assert answer["user"]["tz_offset"] == 3600
    assert "locale" not in answer["user"]


async def test_people_and_members_are_listed_in_pages(room: Room) -> None:
    everyone = await room.client.users_list(limit=1)
    assert len(everyone["members"]) == 1
    cursor = everyone["response_metadata"]["next_cursor"]
    rest = await room.client.users_list(cursor=cursor)
    assert [user["id"] for user in rest["members"]] == [room.ana]
    members = await room.client.conversations_members(channel=room.channel)
    assert set(members["members"]) == {room.ana, room.chat.bot_user}


async def test_channels_are_listed_by_kind(room: Room) -> None:
    room.chat.add_channel("staff", private=True)
    room.chat.add_channel("hidden", private=True, with_bot=False)
    public = await room.client.conversations_list()
    assert [channel["name"] for channel in public["channels"]] == ["wave-1"]
    both = await room.client.conversations_list(types="public_channel,private_channel")
    assert [channel["name"] for channel in both["channels"]] == ["wave-1", "staff"]


async def test_what_a_channel_is(room: Room) -> None:
    answer = await room.client.conversations_info(channel=room.channel, include_num_members=True)
    channel = answer["channel"]
    assert (channel["name"], channel["is_member"], channel["num_members"]) == ("wave-1", True, 2)


async def test_who_the_bot_is(room: Room) -> None:
    answer = await room.client.auth_test()
    assert answer["user_id"] == room.chat.bot_user
    assert answer["team_id"] == (await room.client.team_info())["team"]["id"]
    assert answer["bot_id"]


async def test_a_pin_is_kept_once_and_taken_away_once(room: Room) -> None:
    root = await post(room, "board")
    where: dict[str, Any] = {"channel": room.channel, "timestamp": root}
    await room.client.pins_add(**where)
    assert (await refused(room.client.pins_add(**where)))["error"] == "already_pinned"
    listed = await room.client.pins_list(channel=room.channel)
    assert [item["message"]["ts"] for item in listed["items"]] == [root]
    assert [message["ts"] for message in room.chat.pins(room.channel)] == [root]
    await room.client.pins_remove(**where)
    assert (await refused(room.client.pins_remove(**where)))["error"] == "no_pin"


async def test_a_pin_goes_with_its_message(room: Room) -> None:
    root = await post(room, "board")
    await room.client.pins_add(channel=room.channel, timestamp=root)
    await room.chat.delete(room.ana, room.channel, root)
    assert room.chat.pins(room.channel) == []
    listed = await room.client.pins_list(channel=room.channel)
    assert listed["items"] == []


async def test_a_hundred_pins_are_the_most(room: Room) -> None:
    # `too_many_pins` is on the page; the number is from memory of the help centre.
    for number in range(100):
        stamp = await post(room, str(number))
        await room.client.pins_add(channel=room.channel, timestamp=stamp)
    stamp = await post(room, "one more")
    call = room.client.pins_add(channel=room.channel, timestamp=stamp)
    assert (await refused(call))["error"] == "too_many_pins"


async def test_pinning_needs_the_bot_in_the_channel(room: Room) -> None:
    outside = room.chat.add_channel("lobby", with_bot=False)
    posted = await room.client.chat_postMessage(channel=outside, text="a")
    call = room.client.pins_add(channel=outside, timestamp=posted["ts"])
    assert (await refused(call))["error"] == "not_in_channel"


async def test_a_reaction_counts_once_for_each_person(room: Room) -> None:
    root = await post(room, "a")
    where: dict[str, Any] = {"channel": room.channel, "timestamp": root, "name": "eyes"}
    await room.client.reactions_add(**where)
    assert (await refused(room.client.reactions_add(**where)))["error"] == "already_reacted"
    await room.chat.react(room.ana, room.channel, root, "eyes")
    assert room.chat.messages(room.channel)[0]["reactions"][0]["count"] == 2
    await room.client.reactions_remove(**where)
    assert (await refused(room.client.reactions_remove(**where)))["error"] == "no_reaction"
    assert room.chat.messages(room.channel)[0]["reactions"][0]["users"] == [room.ana]
