"""The live loop, moved by hand: clocks that disagree, outages, what the scheduler does."""

import asyncio

import pytest
from apscheduler.schedulers.asyncio import AsyncIOScheduler

from bot.jumps import JUMP_WAIT
from bot.live import WATCHDOG_SECONDS, Live
from bot.model.policy import MINUTE
from bot.practice import scene
from bot.settings import PersonSettings, WaySettings
from bot.store.errors import PartRefused
from tests.handlers.kit import OwnStore, Room, open_room

CONTACT = "U0101"


class Ticks:
    """A monotonic clock moved by hand, in seconds."""

    def __init__(self) -> None:
        self.at = 1000.0

    def __call__(self) -> float:
        return self.at


async def no_wait(_seconds: float) -> None:
    await asyncio.sleep(0)


def live_of(room: Room, ticks: Ticks) -> Live:
    return Live(room.bot.settings, room.bot, monotonic=ticks, sleep=no_wait)


async def pass_both(room: Room, ticks: Ticks, seconds: float) -> None:
    ticks.at += seconds
    room.clock.move(room.clock.now() + round(seconds * 1000))


def stands(room: Room) -> bool:
    """Whether the times of visits stand still now."""
    return room.bot.sweep.standing


# --- clocks -----------------------------------------------------------------------------------


async def test_a_jump_of_the_wall_clock_fires_nothing_until_a_minute_has_confirmed_it(
    room: Room,
) -> None:
    ticks = Ticks()
    live = live_of(room, ticks)
    await live.sweep()
    room.clock.move(room.clock.now() + 60 * MINUTE)  # the wall clock alone
    ticks.at += 1
    before = room.bot.sweep.fired
    await live.sweep()
    assert room.bot.sweep.fired == before
    told = [str(m["text"]) for m in room.server.messages(scene.TEAM_CHANNEL)]
    assert any("jumped by" in text for text in told)
    await pass_both(room, ticks, JUMP_WAIT / 2)
    await live.sweep()
    assert room.bot.sweep.fired == before
    await pass_both(room, ticks, JUMP_WAIT / 2 + 1)
    await live.sweep()
    await live.caught_up()  # the hour that nobody lived through is a gap like any other
    assert room.bot.sweep.fired > before


async def test_clocks_that_agree_or_drift_a_little_hold_nothing(room: Room) -> None:
    ticks = Ticks()
    live = live_of(room, ticks)
    await pass_both(room, ticks, 3600)
    room.clock.move(room.clock.now() + 4_000)
    await live.sweep()
    assert room.bot.sweep.fired > 0


async def test_the_watchdog_sweeps_when_the_scheduler_does_not(room: Room) -> None:
    ticks = Ticks()
    live = live_of(room, ticks)
    await pass_both(room, ticks, WATCHDOG_SECONDS)
    assert not await live.look_at_sweep()  # not yet
    await pass_both(room, ticks, 0.1)
    before = room.bot.sweep.fired
    room.clock.move(room.clock.now() + 4_000)
    assert await live.look_at_sweep()
    assert room.bot.sweep.fired >= before
    assert not await live.look_at_sweep()  # it was just done


async def test_the_scheduler_has_none_of_its_defaults(room: Room) -> None:
    scheduler = live_of(room, Ticks()).scheduler()
    scheduler.start(paused=True)
    jobs = scheduler.get_jobs()
    assert len(jobs) == 4
    for job in jobs:
        assert (job.coalesce, job.misfire_grace_time, job.max_instances) == (True, None, 1)
    scheduler.shutdown(wait=False)
    plain = AsyncIOScheduler()  # the library's own default would drop what is a second late
    plain.start(paused=True)
    job = plain.add_job(no_wait, "interval", seconds=1, args=[0])
    assert job.misfire_grace_time == 1
    plain.shutdown(wait=False)


# --- outages ----------------------------------------------------------------------------------


async def test_an_outage_of_the_store_counts_for_nobody(own_store: OwnStore) -> None:
    async with open_room(own_store.url) as room:
        await room.to_start()
        ticks = Ticks()
        live = live_of(room, ticks)
        await live.sweep()
        await own_store.kill()
        await live.sweep()  # finds it away, and goes on
        await pass_both(room, ticks, 30 * 60)
        await own_store.start()
        await live.sweep()
        await live.caught_up()
        await room.rest()
        assert not room.bot.sweep.standing
        visit = await room.visit("alderbeck")
        assert visit.open_calls == []
        assert (await room.templates("alderbeck"))[-1] == "catch_up"
        told = room.posts(scene.TEAM_CHANNEL, "outage")
        assert len(told) == 1
        assert "the store was away" in told[0]["text"]


async def test_an_outage_of_the_chat_counts_for_nobody(room: Room) -> None:
    await room.to_start()
    ticks = Ticks()
    live = live_of(room, ticks)
    await live.look_at_chat()
    room.server.faults.add("http_500", times=10**9)
    await live.look_at_chat()
    assert stands(room) is False  # a minute is nothing
    await pass_both(room, ticks, 61)
    await live.look_at_chat()
    assert stands(room) is True
    await pass_both(room, ticks, 30 * 60)
    await live.sweep()
    assert (await room.visit("alderbeck")).open_calls == []
    room.server.faults.clear()
    await live.look_at_chat()
    await live.caught_up()
    await room.rest()
    assert stands(room) is False
    assert (await room.visit("alderbeck")).open_calls == []
    (told,) = room.posts(scene.TEAM_CHANNEL, "outage")
    assert "the chat did not answer" in told["text"]


# --- who may be woken ---------------------------------------------------------------------------


async def test_no_wave_opens_where_nobody_on_turn_can_be_tested(room: Room) -> None:
    evening = room.clock.now()
    by_day = {"hours": ({"since": "09:00", "until": "10:00"},)}
    people = (
        PersonSettings.model_validate(
            {"name": "Ines Calloway", "user": "U0002", "roles": ["oncall", "admin"], **by_day}
        ),
    )
    base = room.bot.settings.model_copy(update={"people": people})

    def may(**more: object) -> bool:
        room.bot.settings = base.model_copy(update=more)
        return room.bot._may_open(room.bot.settings.roster(), evening)

    assert not may()
    ways = (WaySettings(way="chat"), WaySettings(way="webhook:phone"))
    with_ways = (people[0].model_copy(update={"ways": ways}),)
    assert not may(people=with_ways)  # but it is not their turn
    roster = base.model_copy(update={"people": with_ways}).roster()
    assert room.bot._may_open(roster, evening - 8 * 60 * MINUTE)  # 09:30, and their test counts
    assert may(person_on_chat_alone_may_open=True)
    room.bot.settings = base


async def test_the_people_of_the_settings_are_looked_up_at_start(room: Room) -> None:
    room.server.workspace.users["U0002"].deleted = True
    del room.server.workspace.users["U0003"]
    found = await room.bot.look_at_people()
    assert found == [
        "people: Ines Calloway: the account U0002 is disabled: name somebody else for their turn.",
        (
            "people: Joel Harrowby: the chat knows no account U0003: copy the member id from "
            "their profile."
        ),
    ]
    left = {staff.user for staff in room.bot.desk.surroundings.roster.staff}
    assert left == {scene.ADMIN}
    room.server.faults.add("drop_before", times=10**9)
    assert await room.bot.look_at_people() == []  # the chat is away: go on as before


async def test_a_deadline_that_is_refused_is_no_outage_of_the_store(
    room: Room, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    async def refusing(_now: int, **_: float) -> int:
        raise PartRefused("1 deadlines were refused: not this one")

    monkeypatch.setattr(room.bot.sweep, "run", refusing)
    await live_of(room, Ticks()).sweep()
    assert "not this one" in caplog.text
    assert "store is away" not in caplog.text
