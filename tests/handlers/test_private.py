"""Private mode: the contact's thread is a private conversation, with a mirror for the team."""

from collections.abc import AsyncIterator

import pytest

from bot.plan.live import go_live
from bot.practice import scene
from tests.handlers.kit import (
    ADMIN,
    ONCALL,
    STRANGER,
    WAVE,
    Json,
    Room,
    actions,
    open_room,
    template,
)

CONTACT, DEPUTY, NEW = "U0101", "U0201", "U0777"


@pytest.fixture
async def room(store_url: str) -> AsyncIterator[Room]:
    async with open_room(store_url, private=True) as opened:
        yield opened


def direct(room: Room, user: str = CONTACT) -> str:
    return room.server.workspace.dm_with(user).id


async def mirror(room: Room, site: str = "alderbeck") -> list[Json]:
    info = await room.bot.store.thread_info(f"w:{WAVE}", f"mirror:{site}")
    assert info.channel == room.channel
    return room.server.thread(room.channel, info.root)


async def press(room: Room, value: str, user: str = CONTACT) -> None:
    for message in reversed(room.server.messages(direct(room, user))):
        for action in actions(message):
            if action.split(":", 2)[2] == value:
                await room.server.press(user, direct(room, user), str(message["ts"]), action)
                await room.pass_time(1)
                return
    raise LookupError(value)


async def test_what_is_said_to_the_contact_stands_in_both_places(room: Room) -> None:
    private = room.server.messages(direct(room))
    assert [template(m) for m in private] == ["root", "invite"]
    shown = await mirror(room)
    assert [template(m) for m in shown] == ["root", "invite"]
    assert [m["text"] for m in shown] == [m["text"] for m in private]
    assert actions(private[1])
    assert not actions(shown[1])  # the answer is the contact's to give


async def test_what_the_contact_writes_and_presses_is_mirrored(room: Room) -> None:
    root = str(room.server.messages(direct(room))[0]["ts"])
    await room.server.say(CONTACT, direct(room), "is it <heavy> & big?", thread_ts=root)
    await room.pass_time(1)
    await press(room, "yes")
    assert (await room.visit("alderbeck")).state == "agreed"
    told = [str(m["text"]) for m in await mirror(room) if template(m).startswith("mirror_")]
    assert told == [
        "Contact of Alderbeck writes: is it &lt;heavy&gt; &amp; big?",
        "Contact of Alderbeck presses *Yes, that is fine*",
    ]


async def test_a_link_of_a_call_leads_to_the_mirror(room: Room) -> None:
    await press(room, "yes")
    await room.server.dm(CONTACT, "help")
    await room.pass_time(1)
    (call,) = room.posts(scene.TEAM_CHANNEL, "call")
    root = str((await mirror(room))[0]["ts"]).replace(".", "")
    assert f"/archives/{room.channel}/p{root}" in call["text"]


async def test_danger_is_answered_in_private_called_and_mirrored(room: Room) -> None:
    root = str(room.server.messages(direct(room))[0]["ts"])
    await room.server.say(CONTACT, direct(room), "smoke!", thread_ts=root)
    await room.pass_time(1)
    assert [template(m) for m in room.server.thread(direct(room), root)].count("danger") == 1
    assert (await room.visit("alderbeck")).stopped_at is not None
    assert room.posts(scene.TEAM_CHANNEL, "call")
    assert "smoke!" in str([m["text"] for m in await mirror(room)])


async def test_danger_in_the_mirror_is_said_to_the_contact(room: Room) -> None:
    root = str((await mirror(room))[0]["ts"])
    await room.server.say(STRANGER, room.channel, "they have a fire", thread_ts=root)
    await room.pass_time(1)
    assert (await room.visit("alderbeck")).stopped_at is not None
    assert "danger" in [template(m) for m in room.server.messages(direct(room))]


async def test_others_in_the_mirror_do_not_reach_the_contact(room: Room) -> None:
    before = len(room.server.messages(direct(room)))
    root = str((await mirror(room))[0]["ts"])
    await room.server.say(STRANGER, room.channel, "how is it going?", thread_ts=root)
    await room.pass_time(1)
    assert len(room.server.messages(direct(room))) == before


async def test_an_order_in_the_mirror_is_done(room: Room) -> None:
    await press(room, "yes")
    root = str((await mirror(room))[0]["ts"])
    await room.server.mention(ADMIN, room.channel, "rebook", thread_ts=root)
    await room.pass_time(1)
    assert (await room.visit("alderbeck")).state == "rebook"


async def test_a_new_contact_gets_a_conversation_of_their_own(room: Room) -> None:
    room.server.add_user(NEW, "Another Contact")
    changed = room.rows[0].model_copy(deep=True)
    changed.contact.user = NEW
    rows = [changed, *room.rows[1:]]
    await room.pass_time(1)
    before = len(room.server.messages(direct(room)))
    await go_live(room.bot.desk, rows, channels=room.channels, now=room.clock.now())
    await room.pass_time(2)
    assert "invite" in [template(m) for m in room.server.messages(direct(room, NEW))]
    assert len(room.server.messages(direct(room))) == before  # nothing more to the old one
    await press(room, "yes", NEW)
    assert (await room.visit("alderbeck")).state == "agreed"


async def test_a_whole_evening_in_private(room: Room) -> None:
    await press(room, "yes")
    await room.pass_time(29)
    for value in ("here", "done", "done"):
        await press(room, value)
    serial = (await room.visit("alderbeck")).units[0].serial
    await room.registry.registered(serial, room.clock.now())
    await room.pass_time(1)
    assert "online_thanks" in [template(m) for m in room.server.messages(direct(room))]
    assert "online_thanks" in [template(m) for m in await mirror(room)]


async def test_what_a_person_who_has_taken_over_writes_in_the_copy_reaches_the_contact(
    room: Room,
) -> None:
    await press(room, "yes")
    root = str((await mirror(room))[0]["ts"])
    await room.server.say(ONCALL, room.channel, "who knows this site?", thread_ts=root)
    await room.server.dm(CONTACT, "help")
    await room.pass_time(1)
    (call,) = room.posts(scene.TEAM_CHANNEL, "call")
    take = next(action for action in actions(call) if action.endswith(":take"))
    await room.server.press(ONCALL, scene.TEAM_CHANNEL, str(call["ts"]), take)
    await room.server.say(ONCALL, room.channel, "Hello, what do you see?", thread_ts=root)
    await room.server.mention(ONCALL, room.channel, "catch up", thread_ts=root)
    await room.pass_time(1)
    said = [str(m["text"]) for m in room.server.messages(direct(room)) if is_from_team(m)]
    assert said == ["Ines Calloway: Hello, what do you see?"]
    assert not [m for m in await mirror(room) if is_from_team(m)]  # it stands there already


def is_from_team(message: Json) -> bool:
    return template(message) == "team_says"


async def test_where_the_contact_cannot_be_written_to_the_deputy_is_asked(room: Room) -> None:
    await press(room, "yes")
    await room.pass_time(27)
    # What the other site is told at the same minute goes first.
    room.server.faults.add("error", "chat.postMessage", error="user_disabled", times=2)
    await room.pass_time(3)
    theirs = [template(m) for m in room.server.messages(direct(room, DEPUTY))]
    assert "deputy_ask" in theirs
    await room.pass_time(10)
    assert [c.cause for c in (await room.visit("alderbeck")).open_calls] == ["unreachable"]
