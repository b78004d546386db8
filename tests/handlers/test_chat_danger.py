"""Words of danger: the fixed answer first, from anyone and anywhere, even with the store away."""

import asyncio

import pytest

from bot.model.subject import of_visit
from bot.practice import scene
from bot.speak.catalogue import Catalogue
from bot.store.commit import Commit, Done, Known, Stale
from handlers.written import Written
from tests.handlers.kit import ONCALL, STRANGER, Json, OwnStore, Room, open_room, row, template

CONTACT, OTHER = "U0101", "U0102"
FIXED = Catalogue.load().best("en").say("danger", {})


def answers(messages: list[Json]) -> list[Json]:
    return [m for m in messages if template(m) == "danger"]


async def test_the_fixed_answer_comes_before_anything_else(room: Room) -> None:
    before = len(room.server.calls)
    await room.say(CONTACT, "alderbeck", "there is smoke coming out of it")
    await room.rest()
    posts = [c for c in room.server.calls[before:] if c.method == "chat.postMessage"]
    assert posts[0].args["text"] == FIXED
    assert posts[0].args["thread_ts"] == await room.root("alderbeck")
    visit = await room.visit("alderbeck")
    assert visit.stopped_at is not None
    assert [c.cause for c in visit.open_calls] == ["danger"]
    assert (await room.wave()).holds == ("danger",)
    assert len(answers(await room.thread("alderbeck"))) == 1


async def test_it_is_sent_while_the_store_is_dead_and_counts_when_it_is_back(
    own_store: OwnStore,
) -> None:
    async with open_room(own_store.url) as room:
        thread = await room.root("alderbeck")
        await own_store.kill()
        room.server.sender.ack_seconds = 10
        await room.server.say(CONTACT, room.channel, "smoke!", thread_ts=thread)
        assert room.delivered(CONTACT).status == 500  # not acknowledged: nothing was committed
        assert len(answers(room.server.thread(room.channel, thread))) == 1
        await own_store.start()
        await room.server.deliver_due(room.clock.now())
        await room.rest()
        assert room.delivered(CONTACT).ok
        assert (await room.visit("alderbeck")).stopped_at is not None
        # Repeating it is right where losing it would be wrong; both sendings are on record.
        sent = answers(room.server.thread(room.channel, thread))
        assert len(sent) == 2
        assert await recorded(room) == {f"safety:{room.channel}:{m['ts']}" for m in sent}
        assert room.bot.chat_in.hearing.safety.unrecorded == 0


async def test_the_event_again_repeats_the_answer_and_stops_once(room: Room) -> None:
    await room.say(CONTACT, "alderbeck", "smoke!")
    event = next(
        d.payload for d in room.server.deliveries if d.payload["event"].get("user") == CONTACT
    )
    await room.server.sender.event(event, 1, "http_timeout")
    await room.rest()
    assert len(answers(await room.thread("alderbeck"))) == 2
    stops = [f for _, f, e in await room.journal() if '"event":"stopped"' in e]
    assert len(stops) == 1


@pytest.mark.parametrize("words", ["i smell burning", "smoek!!", "somebody got a shock"])
async def test_a_stranger_in_the_thread_stops_the_visit(room: Room, words: str) -> None:
    await room.say(STRANGER, "alderbeck", words)
    await room.rest()
    assert (await room.visit("alderbeck")).stopped_at is not None


async def test_a_stranger_in_the_channel_holds_the_wave_and_calls(room: Room) -> None:
    stamp = await room.server.say(STRANGER, room.channel, "there is a fire here")
    await room.rest()
    assert len(answers(room.server.thread(room.channel, stamp))) == 1
    wave = await room.wave()
    assert wave.holds == ("danger",)
    assert [c.cause for c in wave.calls] == ["danger"]
    assert room.posts(scene.TEAM_CHANNEL, "wave_call")
    assert (await room.visit("alderbeck")).stopped_at is None


async def test_a_stranger_in_a_direct_message_holds_the_wave_and_calls(room: Room) -> None:
    await room.server.dm(STRANGER, "sparks are flying")
    await room.rest()
    direct = room.server.workspace.dm_with(STRANGER).id
    assert len(answers(room.server.messages(direct))) == 1
    assert (await room.wave()).holds == ("danger",)
    assert room.posts(scene.TEAM_CHANNEL, "wave_call")


async def test_the_contact_in_a_direct_message_stops_the_visit_and_hears_it_in_both_places(
    room: Room,
) -> None:
    await room.server.dm(CONTACT, "it is burning")
    await room.rest()
    direct = room.server.workspace.dm_with(CONTACT).id
    assert len(answers(room.server.messages(direct))) == 1
    assert len(answers(await room.thread("alderbeck"))) == 1
    assert (await room.visit("alderbeck")).stopped_at is not None


async def test_an_edit_may_bring_the_danger(room: Room) -> None:
    stamp = await room.say(CONTACT, "alderbeck", "it is fine")
    await room.server.edit(CONTACT, room.channel, stamp, "it is on fire")
    await room.rest()
    assert (await room.visit("alderbeck")).stopped_at is not None
    assert len(answers(await room.thread("alderbeck"))) == 1


async def test_the_title_of_a_picture_may_bring_the_danger(room: Room) -> None:
    root = await room.root("alderbeck")
    picture = {"id": "F0001", "title": "smoke from the box", "name": "IMG_0001.jpg"}
    await room.server.say(CONTACT, room.channel, "look", thread_ts=root, files=[picture])
    await room.rest()
    assert (await room.visit("alderbeck")).stopped_at is not None


async def test_a_mention_is_answered_once_though_it_comes_as_two_events(room: Room) -> None:
    root = await room.root("alderbeck")
    await room.server.mention(CONTACT, room.channel, "smoke!", thread_ts=root)
    await room.rest()
    assert len(answers(await room.thread("alderbeck"))) == 1
    assert len(set(await room.heard("alderbeck"))) == 1


async def test_a_mention_where_we_cannot_read_messages_counts_too(room: Room) -> None:
    # Where the app is no member, only the mention comes and no message event.
    elsewhere = room.server.add_channel("elsewhere", members=[STRANGER])
    event = {
        "type": "app_mention",
        "channel": elsewhere,
        "user": STRANGER,
        "text": f"<@{room.server.bot_user}> the box is on fire",
        "ts": await room.server.say(STRANGER, elsewhere, "x"),
    }
    await room.server._tell_event(event)
    await room.rest()
    assert (await room.wave()).holds == ("danger",)
    assert len(answers(room.server.messages(elsewhere))) == 1


async def test_who_has_two_visits_stops_both(store_url: str) -> None:
    rows = [row("alderbeck", CONTACT, "HML-4F7K2Q"), row("ambermere", CONTACT, "HML-MTHE79")]
    async with open_room(store_url, rows) as room:
        await room.server.say(CONTACT, room.channel, "smoke!")
        await room.rest()
        assert (await room.visit("alderbeck")).stopped_at is not None
        assert (await room.visit("ambermere")).stopped_at is not None


async def test_who_speaks_of_danger_in_another_thread_stops_their_own_visit_too(
    room: Room,
) -> None:
    await room.say(OTHER, "alderbeck", "smoke here")
    await room.rest()
    assert (await room.visit("alderbeck")).stopped_at is not None
    assert (await room.visit("ambermere")).stopped_at is not None
    assert len(answers(await room.thread("alderbeck"))) == 1
    assert len(answers(await room.thread("ambermere"))) == 1


async def test_danger_in_the_thread_of_a_call_is_said_to_the_site(room: Room) -> None:
    await room.to_start()
    await room.say(CONTACT, "alderbeck", "help")
    await room.rest()
    (call,) = room.posts(scene.TEAM_CHANNEL, "call")
    await room.server.say(
        ONCALL, scene.TEAM_CHANNEL, "they have a fire there", thread_ts=str(call["ts"])
    )
    await room.rest()
    assert (await room.visit("alderbeck")).stopped_at is not None
    assert len(answers(await room.thread("alderbeck"))) == 1


async def test_the_team_may_ask_about_danger(room: Room) -> None:
    await room.say(ONCALL, "alderbeck", "is there any smoke?")
    await room.rest()
    assert answers(await room.thread("alderbeck")) == []
    assert (await room.visit("alderbeck")).stopped_at is None


async def test_an_answer_that_does_not_get_through_is_said_from_the_outbox(room: Room) -> None:
    room.server.faults.add("error", "chat.postMessage", error="internal_error", times=3)
    await room.say(CONTACT, "alderbeck", "smoke!")
    await room.rest()
    assert (await room.visit("alderbeck")).stopped_at is not None
    assert len(answers(await room.thread("alderbeck"))) == 1


async def test_with_no_wave_at_all_the_team_is_told(room: Room) -> None:
    await room.bot.store._write(b"x", "FLUSHALL")
    await room.server.dm(STRANGER, "the <b>box</b> is on fire")
    told = [str(m["text"]) for m in room.server.messages(scene.TEAM_CHANNEL)]
    assert f"<@{STRANGER}>" in told[-1]
    assert "&lt;b&gt;" in told[-1]


async def test_the_sending_is_on_record_with_the_visit_and_with_the_wave(room: Room) -> None:
    await room.say(CONTACT, "alderbeck", "smoke!")
    stamp = await room.server.say(STRANGER, room.channel, "fire!")
    (first,) = answers(await room.thread("alderbeck"))
    (second,) = answers(room.server.thread(room.channel, stamp))
    keys = {f"safety:{room.channel}:{m['ts']}" for m in (first, second)}
    assert await recorded(room) == keys
    by = {f: s for s, f, _ in await room.journal() if f in keys}
    assert by[f"safety:{room.channel}:{first['ts']}"] == str(of_visit("hollowmere-1", "alderbeck"))


# --- where something fails --------------------------------------------------------------------


def told(room: Room) -> list[str]:
    """Words of danger of which the team was told past the outbox."""
    texts = [str(m["text"]) for m in room.server.messages(scene.TEAM_CHANNEL)]
    return [text for text in texts if text.startswith("*Words of danger*")]


async def test_with_the_store_away_the_team_is_told_at_once_and_once(own_store: OwnStore) -> None:
    async with open_room(own_store.url) as room:
        await own_store.kill()
        room.server.sender.ack_seconds = 10
        await room.server.dm(STRANGER, "smoke!")
        assert room.delivered(STRANGER).status == 500
        (text,) = told(room)
        assert f"<@{STRANGER}>" in text
        assert "smoke!" in text
        await room.server.deliver_due(room.clock.now())  # the platform sends it again
        assert len(told(room)) == 1
        await own_store.start()


async def test_with_the_store_and_the_team_channel_away_people_are_told_directly(
    own_store: OwnStore,
) -> None:
    async with open_room(own_store.url) as room:
        await own_store.kill()
        room.server.workspace.channels[scene.TEAM_CHANNEL].members.pop(room.server.bot_user)
        room.server.sender.ack_seconds = 10
        await room.server.dm(STRANGER, "smoke!")
        direct = room.server.workspace.dm_with(ONCALL).id
        assert "smoke!" in str(room.server.messages(direct)[-1]["text"])
        await own_store.start()


async def test_a_short_rate_limit_is_waited_for(room: Room) -> None:
    room.server.faults.add("rate_limit", "chat.postMessage", retry_after=1)
    await room.server.dm(STRANGER, "sparks are flying")
    assert room.delivered(STRANGER).ok
    direct = room.server.workspace.dm_with(STRANGER).id
    assert len(answers(room.server.messages(direct))) == 1


@pytest.mark.parametrize("user", [CONTACT, STRANGER])
async def test_who_got_no_answer_in_a_direct_message_gets_it_when_it_comes_again(
    room: Room, user: str
) -> None:
    room.server.faults.add("error", "chat.postMessage", error="internal_error", times=3)
    await room.server.dm(user, "sparks are flying")
    assert room.delivered(user).status == 500
    await room.settle()
    assert (await room.wave()).holds == ("danger",)  # it counts all the same
    await room.server.deliver_due(room.clock.now())
    assert room.delivered(user).ok
    direct = room.server.workspace.dm_with(user).id
    assert len(answers(room.server.messages(direct))) == 1
    await room.rest()
    raised = [f for _, f, e in await room.journal() if '"event":"stopped"' in e]
    assert len(raised) == (user == CONTACT)


async def test_danger_that_is_kept_aside_is_told_to_the_team(
    room: Room, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every try to commit it meets another decision."""
    store, real = room.bot.store, room.bot.store.commit

    async def loses(commit: Commit) -> Done | Known | Stale:
        if str(commit.subject) == str(of_visit("hollowmere-1", "alderbeck")):
            return Stale(await store.load(commit.subject))
        return await real(commit)

    monkeypatch.setattr(store, "commit", loses)
    await room.say(STRANGER, "alderbeck", "smoke!")
    assert (await room.visit("alderbeck")).stopped_at is None
    (text,) = told(room)
    assert "smoke!" in text


async def recorded(room: Room) -> set[str]:
    return {fact for _, fact, _ in await room.journal() if fact.startswith("safety:")}


async def test_what_was_sent_is_not_remembered_without_end(
    room: Room, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("handlers.safety._REMEMBERED", 2)
    await room.bot.store._write(b"x", "FLUSHALL")  # no wave: nothing to record it with
    for _ in range(4):
        await room.server.dm(STRANGER, "fire!")
    assert room.bot.chat_in.hearing.safety.unrecorded == 2


async def test_the_loop_goes_on_while_a_long_message_is_searched(room: Room) -> None:
    """The longest text of a message is 40,000 characters (reference of chat.postMessage)."""
    text = "the quick brown fox and a smoking gun went by " * 850
    written = Written(room.channel, "1.2", "", STRANGER, text[:40_000])
    turns = 0

    async def turning() -> None:
        nonlocal turns
        while True:
            turns += 1
            await asyncio.sleep(0)

    other = asyncio.create_task(turning())
    await asyncio.sleep(0)
    before = turns
    await room.bot.chat_in.hearing.safety.found(written)
    other.cancel()
    assert turns > before
