"""After a gap: what was written while we were away is read back; nobody's time ran meanwhile."""

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager

from bot.live import Live
from bot.model.policy import MINUTE
from bot.practice import scene
from handlers.readback import AGAIN, LONGEST, TRIES, Reader
from tests.handlers.kit import ADMIN, ONCALL, STRANGER, Room, template

CONTACT, OTHER = "U0101", "U0102"


class Sleeper:
    """Counts the seconds that reading would have waited."""

    def __init__(self) -> None:
        self.seconds: list[float] = []
        self.sleep: Callable[[float], Awaitable[None]] | None = None

    async def __call__(self, seconds: float) -> None:
        if self.sleep is not None:
            await self.sleep(seconds)
            return
        self.seconds.append(seconds)
        await asyncio.sleep(0)


@asynccontextmanager
async def away(room: Room, minutes: float = 10) -> AsyncIterator[Sleeper]:
    """The bot is down for so long; what happens inside is what it misses."""
    await room.bot.store.alive_mark(room.clock.now())
    await room.close()
    room.clock.move(room.clock.now() + round(minutes * MINUTE / 2))
    sleeper = Sleeper()
    yield sleeper
    room.server.sender.restore([])  # the platform has given up resending
    room.clock.move(room.clock.now() + round(minutes * MINUTE / 2))
    await room.open()
    live = Live(room.bot.settings, room.bot, sleep=sleeper)
    await live.catch_up()
    await live.caught_up()
    await room.rest()


async def test_an_answer_in_the_thread_is_brought_in(room: Room) -> None:
    root = await room.root("alderbeck")
    async with away(room):
        await room.server.say(CONTACT, room.channel, "yes", thread_ts=root)
    assert (await room.visit("alderbeck")).state == "agreed"


async def test_words_outside_the_thread_are_brought_in(room: Room) -> None:
    async with away(room):
        await room.server.say(CONTACT, room.channel, "yes")
    assert (await room.visit("alderbeck")).state == "agreed"


async def test_a_direct_message_is_brought_in_where_we_have_spoken_before(room: Room) -> None:
    await room.to_start()
    await room.say(CONTACT, "alderbeck", "help")
    await room.rest()
    (call,) = room.posts(scene.TEAM_CHANNEL, "call")
    take = call["blocks"][-1]["elements"][0]["action_id"]
    await room.server.press(ONCALL, scene.TEAM_CHANNEL, str(call["ts"]), take)
    await room.rest()  # who took it got a direct message
    async with away(room):
        pass
    reads = {c.args["channel"] for c in room.server.calls if c.method == "conversations.replies"}
    assert reads == {room.channel, scene.TEAM_CHANNEL}


async def test_danger_that_was_missed_stops_the_visit_and_is_answered(room: Room) -> None:
    root = await room.root("alderbeck")
    async with away(room):
        await room.server.say(STRANGER, room.channel, "smoke!", thread_ts=root)
    assert (await room.visit("alderbeck")).stopped_at is not None
    assert "danger" in await room.templates("alderbeck")


async def test_what_was_edited_meanwhile_counts_as_it_stands_now(room: Room) -> None:
    root = await room.root("alderbeck")
    async with away(room):
        stamp = await room.server.say(CONTACT, room.channel, "no", thread_ts=root)
        await room.server.edit(CONTACT, room.channel, stamp, "yes")
    assert (await room.visit("alderbeck")).state == "agreed"


async def test_an_older_answer_edited_meanwhile_is_none_but_may_be_danger(room: Room) -> None:
    stamp = await room.say(CONTACT, "alderbeck", "hm")
    other = await room.say(OTHER, "ambermere", "yes")
    await room.pass_time(1)
    async with away(room):
        await room.server.edit(CONTACT, room.channel, stamp, "it burns")
        await room.server.edit(OTHER, room.channel, other, "no")
    assert (await room.visit("alderbeck")).stopped_at is not None
    assert (await room.visit("ambermere")).state == "agreed"
    assert (await room.templates("ambermere"))[-1] == "edit_again"


async def test_an_order_by_mention_is_brought_in(room: Room) -> None:
    await room.to_start()
    root = await room.root("alderbeck")
    async with away(room):
        await room.server.mention(ADMIN, room.channel, "rebook", thread_ts=root)
    assert (await room.visit("alderbeck")).state == "rebook"


async def test_what_was_heard_before_counts_once(room: Room) -> None:
    await room.say(CONTACT, "alderbeck", "hello")
    await room.settle()
    async with away(room):
        pass
    assert len(await room.heard("alderbeck")) == 1


async def test_nobodys_time_ran_and_the_team_hears_once(room: Room) -> None:
    await room.to_start()
    question = (await room.visit("alderbeck")).question
    assert question is not None
    async with away(room, 60):
        pass
    visit = await room.visit("alderbeck")
    assert visit.open_calls == []
    assert visit.question is not None
    assert visit.question.extra >= 60 * MINUTE
    assert (await room.templates("alderbeck"))[-1] == "catch_up"
    assert len(room.posts(scene.TEAM_CHANNEL, "outage")) == 1


async def test_a_short_gap_is_told_to_nobody(room: Room) -> None:
    async with away(room, 0.8):
        pass
    assert room.posts(scene.TEAM_CHANNEL, "outage") == []
    assert not [c for c in room.server.calls if c.method == "conversations.replies"]


async def test_reading_is_paced_and_waits_when_told_to(room: Room) -> None:
    async with away(room) as sleeper:
        room.server.faults.add("rate_limit", "conversations.replies", retry_after=17)
    reads = [
        c
        for c in room.server.calls
        if c.method in ("conversations.replies", "conversations.history") and c.done
    ]
    assert 17.0 in sleeper.seconds
    assert len(sleeper.seconds) == len(reads) + 1
    assert min(sleeper.seconds) * 50 >= 60  # at most about 50 calls a minute


async def test_at_most_two_days_are_read(room: Room) -> None:
    async with away(room, 60 * 24 * 3):
        pass
    oldest = [
        float(c.args["oldest"]) * 1000
        for c in room.server.calls
        if c.method == "conversations.history"
    ]
    assert min(oldest) >= room.clock.now() - LONGEST - 10 * MINUTE


async def test_a_place_that_cannot_be_read_is_told_and_does_not_stop_the_rest(room: Room) -> None:
    root = await room.root("alderbeck")
    async with away(room):
        await room.server.say(CONTACT, room.channel, "yes")  # at the root of the channel
        room.server.rules.bot_reads_threads = False
        assert root
    assert (await room.visit("alderbeck")).state == "agreed"
    told = [str(m["text"]) for m in room.server.messages(scene.TEAM_CHANNEL)]
    assert any("not_allowed_token_type" in text for text in told)
    assert not room.bot.sweep.standing


async def test_a_place_that_stays_unreadable_is_given_up_while_the_platform_answers(
    room: Room,
) -> None:
    async with away(room) as sleeper:
        await room.server.say(CONTACT, room.channel, "yes")  # at the root of the channel
        room.server.faults.add("http_500", "conversations.replies", times=10**9)
    assert (await room.visit("alderbeck")).state == "agreed"
    told = [str(m["text"]) for m in room.server.messages(scene.TEAM_CHANNEL)]
    assert len([text for text in told if "could not be read back" in text]) == 1
    assert not room.bot.sweep.standing
    assert max(sleeper.seconds) > 1


async def test_while_the_platform_does_not_answer_at_all_no_place_is_given_up(room: Room) -> None:
    async with away(room) as sleeper:
        await room.server.say(CONTACT, room.channel, "yes")
        fault = room.server.faults.add("http_500", times=10**9)

        async def ends(seconds: float) -> None:
            sleeper.seconds.append(seconds)
            if len(sleeper.seconds) == 2 * TRIES:
                room.server.faults.ordered.remove(fault)
            await asyncio.sleep(0)

        sleeper.sleep = ends
    assert (await room.visit("alderbeck")).state == "agreed"
    told = [str(m["text"]) for m in room.server.messages(scene.TEAM_CHANNEL)]
    assert not [text for text in told if "could not be read back" in text]


async def test_danger_read_back_that_gets_no_answer_is_tried_again_and_told(room: Room) -> None:
    root = await room.root("alderbeck")
    async with away(room) as sleeper:
        await room.server.say(STRANGER, room.channel, "smoke!")
        await room.server.say(CONTACT, room.channel, "yes", thread_ts=root)
        room.server.faults.add("error", "chat.postMessage", error="internal_error", times=3)
    assert AGAIN in sleeper.seconds
    assert (await room.wave()).holds == ("danger",)
    assert (await room.visit("alderbeck")).state == "agreed"
    assert room.posts(room.channel, "danger")


async def test_a_message_that_arrived_and_was_edited_to_danger_meanwhile_counts(
    room: Room,
) -> None:
    """The message itself is known; only its edit is what was missed."""
    await room.bot.store.alive_mark(room.clock.now())
    room.clock.move(room.clock.now() + 2_000)
    stamp = await room.say(CONTACT, "alderbeck", "hm")
    assert len(await room.heard("alderbeck")) == 1
    await room.close()
    room.clock.move(room.clock.now() + 5 * MINUTE)
    await room.server.edit(CONTACT, room.channel, stamp, "it burns")
    room.server.sender.restore([])
    room.clock.move(room.clock.now() + 5 * MINUTE)
    await room.open()
    live = Live(room.bot.settings, room.bot, sleep=Sleeper())
    await live.catch_up()
    await live.caught_up()
    await room.rest()
    assert (await room.visit("alderbeck")).stopped_at is not None


async def test_until_all_is_read_only_calls_go_on(room: Room) -> None:
    await room.to_start()
    room.bot.sweep.standing = True
    await room.say(CONTACT, "alderbeck", "help")
    await room.pass_time(60)
    visit = await room.visit("ambermere")
    assert visit.nudges == 0  # its times stand still
    assert room.posts(scene.TEAM_CHANNEL, "call_again")  # but the call climbs
    room.bot.sweep.standing = False
    await room.pass_time(1)
    assert (await room.visit("ambermere")).nudges or (await room.visit("ambermere")).open_calls


async def test_a_restart_while_reading_goes_on_with_it(room: Room) -> None:
    """The note of the gap stays until every visit has heard of it."""
    root = await room.root("alderbeck")
    await room.bot.store.alive_mark(room.clock.now())
    await room.close()
    room.clock.move(room.clock.now() + 10 * MINUTE)
    await room.server.say(CONTACT, room.channel, "yes", thread_ts=root)
    await room.open()
    live = Live(room.bot.settings, room.bot, sleep=Sleeper())
    live._read_back = lambda: None  # type: ignore[method-assign]
    await live.catch_up()
    assert room.bot.sweep.standing
    await room.close()
    room.clock.move(room.clock.now() + 1)
    await room.open()
    again = Live(room.bot.settings, room.bot, sleep=Sleeper())
    await again.catch_up()
    await again.caught_up()
    await room.rest()
    assert (await room.visit("alderbeck")).state == "agreed"
    assert await again._remembered() == []


async def test_the_order_is_the_most_urgent_first(room: Room) -> None:
    await room.say(CONTACT, "alderbeck", "yes")
    await room.pass_time(31)  # one runs, the other never agreed
    reader: Reader = room.bot.reader(Sleeper())
    places = await reader.places()
    assert places[0].root == await room.root("alderbeck")
    assert places[-1].root == ""
    assert template((await room.thread("alderbeck"))[0]) == "root"
