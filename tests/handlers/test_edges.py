"""Words that come in another way than as an answer in the thread: live, and read back."""

from typing import Any

from bot.model.people import person_key, text_key
from bot.practice import scene
from tests.handlers.kit import (
    ONCALL,
    STRANGER,
    Room,
    actions,
    open_room,
    row,
    template,
)
from tests.handlers.test_readback import away

CONTACT, DEPUTY, OTHER = "U0101", "U0201", "U0102"
VOICE = {"id": "F1", "title": "audio_message.m4a", "mimetype": "audio/mp4"}
PHOTO = {"id": "F2", "title": "IMG_2041.jpg", "mimetype": "image/jpeg"}


async def asked(room: Room, site: str = "alderbeck") -> str:
    question = (await room.visit(site)).question
    return question.ask if question else ""


async def under_way(room: Room) -> None:
    """At ``alderbeck``: the box is to be unpacked, a question that is answered by *done*."""
    await room.to_start()
    for value in ("here", "done"):
        await room.press(CONTACT, "alderbeck", value)
        await room.pass_time(0.2)
    assert await asked(room) == "unpack"


async def events(room: Room, kind: str) -> list[str]:
    return [event for _, _, event in await room.journal() if f'"event":"{kind}"' in event]


# --- edits ----------------------------------------------------------------------------------


async def test_an_edited_answer_is_asked_about_once_and_counts_as_none(room: Room) -> None:
    await under_way(room)
    stamp = await room.say(CONTACT, "alderbeck", "done")
    await room.pass_time(0.2)
    before = await asked(room)
    for words in ("not done", "no, not done yet"):
        await room.server.edit(CONTACT, room.channel, stamp, words)
        await room.pass_time(0.2)
    assert (await room.templates("alderbeck")).count("edit_again") == 1
    assert await asked(room) == before


async def test_an_edit_that_changes_no_meaning_is_left_alone(room: Room) -> None:
    await under_way(room)
    stamp = await room.say(CONTACT, "alderbeck", "done")
    await room.pass_time(0.2)
    await room.server.edit(CONTACT, room.channel, stamp, "done, thanks")
    await room.pass_time(0.2)
    assert "edit_again" not in await room.templates("alderbeck")


async def test_an_edit_read_back_has_the_outcome_it_has_live(room: Room) -> None:
    await under_way(room)
    stamp = await room.say(CONTACT, "alderbeck", "done")
    await room.pass_time(0.2)
    before = await asked(room)
    async with away(room):
        await room.server.edit(CONTACT, room.channel, stamp, "not done")
    assert (await room.templates("alderbeck")).count("edit_again") == 1
    assert await asked(room) == before


async def test_an_edit_read_back_counts_once_when_the_platform_brings_it_after_all(
    room: Room,
) -> None:
    await under_way(room)
    root = await room.root("alderbeck")
    async with away(room):
        stamp = await room.server.say(CONTACT, room.channel, "hm", thread_ts=root)
        await room.server.edit(CONTACT, room.channel, stamp, "done")
        late = [d.payload for d in room.server.deliveries[-2:]]
    after, heard = await asked(room), len(await room.heard("alderbeck"))
    assert after != "unpack"
    for payload in late:
        assert (await room.server.sender.event(payload, 3, "http_timeout")).ok
    await room.rest()
    assert await asked(room) == after
    assert len(await room.heard("alderbeck")) == heard
    assert "edit_again" not in await room.templates("alderbeck")


# --- deletions ------------------------------------------------------------------------------


async def test_a_deletion_is_on_record_and_undoes_nothing(room: Room) -> None:
    await under_way(room)
    stamp = await room.say(CONTACT, "alderbeck", "done")
    await room.pass_time(0.2)
    after = await asked(room)
    await room.server.delete(CONTACT, room.channel, stamp)
    await room.rest()
    (noted,) = await events(room, "withdrawn")
    team = room.bot.chat_in.identity.team
    assert text_key(f"chat:{team}:{room.channel}:{stamp}") in noted
    assert await asked(room) == after
    words = await room.bot.store.person_get(person_key(CONTACT))
    assert "done" in words.values()  # what was said stays said


# --- order ----------------------------------------------------------------------------------


async def test_an_answer_typed_before_the_question_was_to_be_seen_is_none_to_it(
    room: Room,
) -> None:
    await under_way(room)
    room.server.holding = True
    await room.say(CONTACT, "alderbeck", "done")
    room.server.holding = False
    await room.pass_time(0.2)
    await room.press(CONTACT, "alderbeck", "done")
    await room.pass_time(0.2)
    following = await asked(room)
    assert following != "unpack"
    await room.server.let_go()
    await room.rest()
    assert await asked(room) == following
    assert (await room.templates("alderbeck"))[-1] == "crossed"


async def test_an_answer_typed_after_the_question_was_shown_is_one(room: Room) -> None:
    await under_way(room)
    await room.say(CONTACT, "alderbeck", "done")
    await room.pass_time(0.2)
    assert await asked(room) != "unpack"


async def test_a_question_that_is_not_out_yet_is_not_answered(room: Room) -> None:
    """The chat takes no messages for a while; what is typed meanwhile is to the one before."""
    await under_way(room)
    room.server.faults.add("http_500", "chat.postMessage", times=2)
    await room.press(CONTACT, "alderbeck", "done")
    question = (await room.visit("alderbeck")).question
    assert question is not None
    assert question.asked_at is None
    await room.say(CONTACT, "alderbeck", "done")
    assert await asked(room) == question.ask
    await room.pass_time(3)
    assert (await room.templates("alderbeck"))[-1] == "crossed"


async def test_older_words_that_come_later_override_nothing(room: Room) -> None:
    room.server.holding = True
    await room.say(CONTACT, "alderbeck", "no")
    room.server.holding = False
    await room.pass_time(0.1)
    await room.say(CONTACT, "alderbeck", "hm")
    await room.server.let_go()
    await room.rest()
    assert (await room.visit("alderbeck")).state == "invited"
    assert any('"how":"overtaken"' in event for event in await events(room, "heard"))


async def test_older_words_read_back_override_nothing(room: Room) -> None:
    """The newer ones came while the older were on their way, and then we were away."""
    room.server.holding = True
    await room.say(CONTACT, "alderbeck", "no")
    room.server.holding = False
    await room.pass_time(0.1)
    await room.say(CONTACT, "alderbeck", "yes")
    await room.pass_time(0.5)
    async with away(room):
        pass
    assert (await room.visit("alderbeck")).state == "agreed"
    assert len(await room.heard("alderbeck")) == 2


async def test_help_counts_however_late_it_comes(room: Room) -> None:
    await under_way(room)
    room.server.holding = True
    await room.say(CONTACT, "alderbeck", "help")
    room.server.holding = False
    await room.pass_time(0.1)
    await room.say(CONTACT, "alderbeck", "done")
    await room.server.let_go()
    await room.rest()
    assert [c.cause for c in (await room.visit("alderbeck")).open_calls] == ["help"]


# --- outside the thread ---------------------------------------------------------------------


async def test_who_writes_in_the_channel_is_shown_the_way_once_a_day(room: Room) -> None:
    await under_way(room)
    for _ in range(2):
        await room.server.say(CONTACT, room.channel, "done")
        await room.pass_time(0.2)
    root = (await room.root("alderbeck")).replace(".", "")
    (hint,) = room.hints(room.channel, CONTACT)
    assert f"/archives/{room.channel}/p{root}" in hint


async def test_who_writes_directly_is_shown_the_way_there(room: Room) -> None:
    await under_way(room)
    await room.server.dm(CONTACT, "done")
    await room.pass_time(0.2)
    direct = room.server.workspace.dm_with(CONTACT).id
    said = [str(m["text"]) for m in room.server.messages(direct) if m["user"] != CONTACT]
    assert len(said) == 1
    assert "Alderbeck Library" in said[0]


def buttons(message: dict[str, Any]) -> list[str]:
    elements = [e for b in message["blocks"] if b["type"] == "actions" for e in b["elements"]]
    return [str(e["text"]["text"]) for e in elements]


async def test_the_button_brings_the_original_words_to_the_visit_under_their_own_id(
    store_url: str,
) -> None:
    rows = [row("alderbeck", CONTACT, "HML-4F7K2Q"), row("ambermere", CONTACT, "HML-MTHE79")]
    async with open_room(store_url, rows) as room:
        await room.rest()
        stamp = await room.server.say(CONTACT, room.channel, "yes")
        (message,) = room.server.ephemeral(room.channel)
        assert buttons(message) == ["Alderbeck Library", "Ambermere Library"]
        which = dict(zip(buttons(message), actions(message), strict=True))
        done = await room.server.press(
            CONTACT, room.channel, str(message["ts"]), which["Ambermere Library"]
        )
        assert done.ok
        await room.rest()
        assert (await room.visit("ambermere")).state == "agreed"
        team = room.bot.chat_in.identity.team
        assert await room.heard("ambermere") == [f"chat:{team}:{room.channel}:{stamp}"]
        other = which["Alderbeck Library"]
        await room.server.press(CONTACT, room.channel, str(message["ts"]), other)
        assert "passed that on already" in room.hints(room.channel, CONTACT)[-1]
        assert (await room.visit("alderbeck")).state == "invited"


async def test_a_press_that_failed_between_words_and_commit_stays_valid(store_url: str) -> None:
    rows = [row("alderbeck", CONTACT, "HML-4F7K2Q"), row("ambermere", CONTACT, "HML-MTHE79")]
    async with open_room(store_url, rows) as room:
        await room.rest()
        stamp = await room.server.say(CONTACT, room.channel, "yes")
        (message,) = room.server.ephemeral(room.channel)
        fact = f"chat:{room.bot.chat_in.identity.team}:{room.channel}:{stamp}"
        # What people write is kept before the commit, which the store then did not take.
        await room.bot.store.person_put(person_key(CONTACT), {text_key(fact): "yes"})
        await room.server.press(CONTACT, room.channel, str(message["ts"]), actions(message)[0])
        assert await room.heard("alderbeck") == [fact]


async def test_a_button_pressed_much_later_says_so(store_url: str) -> None:
    rows = [row("alderbeck", CONTACT, "HML-4F7K2Q"), row("ambermere", CONTACT, "HML-MTHE79")]
    async with open_room(store_url, rows) as room:
        await room.server.say(CONTACT, room.channel, "yes")
        (message,) = room.server.ephemeral(room.channel)
        await room.pass_time(31)
        await room.server.press(CONTACT, room.channel, str(message["ts"]), actions(message)[0])
        assert "too long ago" in room.hints(room.channel, CONTACT)[-1]
        assert await room.heard("alderbeck") == []


# --- somebody else --------------------------------------------------------------------------


async def test_a_stranger_is_told_once_and_their_words_reach_the_team(room: Room) -> None:
    await room.say(STRANGER, "alderbeck", "I am here instead, she is off today")
    await room.say(STRANGER, "alderbeck", "yes, that is fine")
    await room.rest()
    assert (await room.templates("alderbeck")).count("not_you") == 1
    (line,) = room.posts(scene.TEAM_CHANNEL, "stranger_says")
    assert "she is off today" in line["text"]
    assert f"<@{STRANGER}>" in line["text"]
    assert (await room.visit("alderbeck")).state == "invited"


async def test_the_contact_of_another_site_is_not_taken_for_this_one(room: Room) -> None:
    await room.say(OTHER, "alderbeck", "yes")
    await room.rest()
    assert (await room.templates("alderbeck"))[-1] == "not_you"
    assert (await room.visit("alderbeck")).state == "invited"
    assert (await room.visit("ambermere")).state == "invited"


# --- files ----------------------------------------------------------------------------------


async def send(room: Room, words: str, *files: dict[str, str]) -> None:
    root = await room.root("alderbeck")
    await room.server.say(CONTACT, room.channel, words, thread_ts=root, files=files)
    await room.rest()


async def test_what_we_cannot_open_is_said_and_the_second_offers_a_person(room: Room) -> None:
    await under_way(room)
    await send(room, "", VOICE)
    assert (await room.templates("alderbeck"))[-1] == "unread_voice"
    await send(room, "", PHOTO)
    assert (await room.templates("alderbeck"))[-1] == "unread_person"
    kept = await room.bot.store.person_get(person_key(CONTACT))
    assert {"audio_message.m4a", "IMG_2041.jpg"} <= set(kept.values())
    await send(room, "done", PHOTO)
    assert await asked(room) != "unpack"  # words under a picture are read


async def test_a_file_without_words_read_back_is_answered_as_well(room: Room) -> None:
    await under_way(room)
    root = await room.root("alderbeck")
    async with away(room):
        await room.server.say(CONTACT, room.channel, "", thread_ts=root, files=[PHOTO])
    assert "unread_picture" in await room.templates("alderbeck")


async def test_what_a_file_is_called_is_no_answer(room: Room) -> None:
    await under_way(room)
    await send(room, "", {"id": "F3", "title": "done", "mimetype": "image/png"})
    assert await asked(room) == "unpack"


# --- accounts -------------------------------------------------------------------------------


async def test_when_the_contacts_account_is_disabled_the_deputy_is_asked_first(room: Room) -> None:
    await under_way(room)
    await room.server.change_user(CONTACT, deleted=True)
    await room.pass_time(1)
    direct = room.server.workspace.dm_with(DEPUTY).id
    assert "deputy_ask" in [template(m) for m in room.server.messages(direct)]
    assert (await room.visit("alderbeck")).open_calls == []
    await room.say(DEPUTY, "alderbeck", "done")
    await room.rest()
    assert await asked(room) != "unpack"


async def test_when_there_is_no_deputy_either_a_person_is_called(room: Room) -> None:
    await under_way(room)
    await room.server.change_user(CONTACT, deleted=True)
    await room.rest()
    await room.server.change_user(DEPUTY, deleted=True)
    await room.rest()
    assert [c.cause for c in (await room.visit("alderbeck")).open_calls] == ["unreachable"]


async def test_a_renamed_account_keeps_working(room: Room) -> None:
    await under_way(room)
    await room.server.change_user(CONTACT, name="Contact With Another Name")
    await room.say(CONTACT, "alderbeck", "done")
    await room.rest()
    assert await asked(room) != "unpack"


async def test_who_joins_the_channel_late_is_told_where_things_stand(room: Room) -> None:
    await under_way(room)
    await room.server.join(DEPUTY, room.channel)
    await room.rest()
    await room.server.join(DEPUTY, room.channel)
    await room.rest()
    direct = room.server.workspace.dm_with(DEPUTY).id
    assert [template(m) for m in room.server.messages(direct)] == ["where_we_are"]


# --- marks ----------------------------------------------------------------------------------


async def test_a_tick_on_the_question_is_done_and_a_thumb_is_only_seen(room: Room) -> None:
    await under_way(room)
    stamp, _ = await room.button("alderbeck", "done")
    said = len(await room.templates("alderbeck"))
    await room.server.react(CONTACT, room.channel, stamp, "thumbsup")
    await room.rest()
    assert await asked(room) == "unpack"
    assert len(await room.templates("alderbeck")) == said
    await room.server.react(CONTACT, room.channel, stamp, "white_check_mark")
    await room.rest()
    following = await asked(room)
    assert following != "unpack"
    await room.server.unreact(CONTACT, room.channel, stamp, "white_check_mark")
    await room.server.react(CONTACT, room.channel, stamp, "heavy_check_mark")
    await room.rest()
    assert await asked(room) == following  # taken off, and on an older question: nothing
    team = room.bot.chat_in.identity.team
    marks = [fact for fact in await room.heard("alderbeck") if fact.startswith("react:")]
    assert marks[-1] == f"react:{team}:{room.channel}:{stamp}:{CONTACT}:white_check_mark"


async def test_a_mark_of_somebody_else_or_on_another_site_is_none(room: Room) -> None:
    await under_way(room)
    stamp, _ = await room.button("alderbeck", "done")
    for user in (OTHER, STRANGER, ONCALL):
        await room.server.react(user, room.channel, stamp, "white_check_mark")
    other = (await room.thread("ambermere"))[-1]["ts"]
    await room.server.react(CONTACT, room.channel, str(other), "white_check_mark")
    await room.rest()
    assert await asked(room) == "unpack"


async def test_a_mark_put_while_we_were_away_is_read_back_once(room: Room) -> None:
    await under_way(room)
    stamp, _ = await room.button("alderbeck", "done")
    async with away(room):
        await room.server.react(CONTACT, room.channel, stamp, "white_check_mark")
    assert await asked(room) != "unpack"
    marks = [fact for fact in await room.heard("alderbeck") if fact.startswith("react:")]
    assert len(marks) == len(set(marks)) == 1
