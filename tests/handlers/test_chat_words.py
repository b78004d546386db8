"""What people write, through the real framework into the real store."""

from tests.handlers.kit import ADMIN, ONCALL, STRANGER, Room, open_room, row

CONTACT, DEPUTY, OTHER = "U0101", "U0201", "U0102"


async def test_an_answer_in_the_thread_is_heard_and_acknowledged(room: Room) -> None:
    await room.say(CONTACT, "alderbeck", "yes, that is fine")
    await room.rest()
    assert room.server.deliveries[-1].status == 200
    assert (await room.visit("alderbeck")).state == "agreed"


async def test_the_deputy_may_answer_and_a_stranger_may_not(room: Room) -> None:
    await room.say(STRANGER, "alderbeck", "yes")
    await room.rest()
    assert (await room.visit("alderbeck")).state == "invited"
    assert (await room.templates("alderbeck"))[-1] == "not_you"
    await room.say(DEPUTY, "alderbeck", "yes")
    await room.rest()
    assert (await room.visit("alderbeck")).state == "agreed"


async def test_a_reply_outside_the_thread_reaches_the_visit(room: Room) -> None:
    await room.server.say(CONTACT, room.channel, "yes")
    await room.rest()
    assert (await room.visit("alderbeck")).state == "agreed"


async def test_a_direct_message_reaches_the_visit(room: Room) -> None:
    await room.server.dm(CONTACT, "yes")
    await room.rest()
    assert (await room.visit("alderbeck")).state == "agreed"


async def test_who_has_two_visits_is_asked_which(store_url: str) -> None:
    rows = [row("alderbeck", CONTACT, "HML-4F7K2Q"), row("ambermere", CONTACT, "HML-MTHE79")]
    async with open_room(store_url, rows) as room:
        await room.server.say(CONTACT, room.channel, "yes")
        await room.rest()
        assert ["more than one visit" in hint for hint in room.hints(room.channel, CONTACT)] == [
            True
        ]
        assert (await room.visit("alderbeck")).state == "invited"
        await room.say(CONTACT, "ambermere", "yes")
        await room.rest()
        assert (await room.visit("ambermere")).state == "agreed"


async def test_words_of_nobody_are_answered_only_in_private(room: Room) -> None:
    await room.server.say(STRANGER, room.channel, "hello all")
    assert room.server.messages(room.channel)[-1]["text"] == "hello all"
    await room.server.dm(STRANGER, "hello")
    await room.server.dm(STRANGER, "is anybody there?")
    direct = room.server.workspace.dm_with(STRANGER).id
    said = [str(m["text"]) for m in room.server.messages(direct) if m["user"] != STRANGER]
    assert ["no visit for you" in text for text in said] == [True]  # once is enough


async def test_the_same_event_again_counts_once(room: Room) -> None:
    await room.say(CONTACT, "alderbeck", "hello there")
    event = room.server.deliveries[-1].payload
    again = await room.server.sender.event(event, 1, "http_timeout")
    assert again.ok
    assert len(await room.heard("alderbeck")) == 1


async def test_an_edit_of_what_was_not_understood_is_the_answer(room: Room) -> None:
    stamp = await room.say(CONTACT, "alderbeck", "hmm")
    await room.server.edit(CONTACT, room.channel, stamp, "yes")
    await room.rest()
    heard = await room.heard("alderbeck")
    assert len(heard) == len(set(heard)) == 2  # both are on record, each under an id of its own
    assert (await room.visit("alderbeck")).state == "agreed"


async def test_deleting_takes_nothing_back(room: Room) -> None:
    stamp = await room.say(CONTACT, "alderbeck", "yes")
    await room.rest()
    await room.server.delete(CONTACT, room.channel, stamp)
    await room.rest()
    assert room.server.deliveries[-1].ok
    assert (await room.visit("alderbeck")).state == "agreed"
    assert len(await room.heard("alderbeck")) == 1


async def test_the_bot_does_not_hear_itself_nor_its_own_edits(room: Room) -> None:
    await room.rest()
    root = await room.root("alderbeck")
    await room.bot.chat.client.chat_update(
        channel=room.channel, ts=root, text="smoke and fire, says the bot"
    )
    await room.server.settle()
    assert [d for d in room.server.deliveries if d.payload["event"].get("bot_id")]
    assert all(d.ok for d in room.server.deliveries)
    assert await room.heard("alderbeck") == []
    assert (await room.visit("alderbeck")).stopped_at is None


async def test_escaped_words_are_read_as_they_were_typed(room: Room) -> None:
    await room.say(CONTACT, "alderbeck", "yes & thanks <3")
    person = await _words_of(room, CONTACT)
    assert "yes & thanks <3" in person


async def test_what_no_listener_wants_is_acknowledged(room: Room) -> None:
    await room.rest()
    await room.server.react(CONTACT, room.channel, await room.root("alderbeck"), "thumbsup")
    delivery = room.server.deliveries[-1]
    assert delivery.payload["event"]["type"] == "reaction_added"
    assert delivery.status == 200


async def test_joining_and_topics_are_no_words(room: Room) -> None:
    event = {
        "type": "message",
        "subtype": "channel_topic",
        "channel": room.channel,
        "channel_type": "channel",
        "user": CONTACT,
        "text": "set the channel topic: no smoke without fire",
        "ts": "1773336600.000900",
    }
    await room.server._tell_event(event)
    assert room.server.deliveries[-1].ok
    assert await room.heard("alderbeck") == []


# --- orders by mention ----------------------------------------------------------------------


async def test_an_order_in_the_thread_is_done_for_the_team_only(room: Room) -> None:
    await room.to_start()
    root = await room.root("alderbeck")
    await room.server.mention(CONTACT, room.channel, "rebook", thread_ts=root)
    await room.rest()
    assert (await room.visit("alderbeck")).state == "running"
    await room.server.mention(ONCALL, room.channel, "rebook", thread_ts=root)
    await room.rest()
    assert (await room.visit("alderbeck")).state == "rebook"


async def test_an_order_that_does_nothing_is_said_to_who_gave_it(room: Room) -> None:
    root = await room.root("alderbeck")
    await room.server.mention(ADMIN, room.channel, "restart", thread_ts=root)
    await room.server.mention(ADMIN, room.channel, "make tea", thread_ts=root)
    hints = room.hints(room.channel, ADMIN)
    assert len(hints) == 2
    assert "nothing to do" in hints[0]
    assert "*ask again*" in hints[1]


async def _words_of(room: Room, user: str) -> list[str]:
    from bot.model.people import person_key

    return list((await room.bot.store.person_get(person_key(user))).values())
