"""Pace in wave time. Source of the limits: https://docs.slack.dev/apis/web-api/rate-limits"""

import asyncio

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.model.message import ANSWER, ESCALATION, NUDGE
from bot.practice.chatserver.answers import RateLimited
from bot.practice.chatserver.ratelimit import RateLimits
from bot.send.leases import ChannelLeases
from bot.send.pacing import Drip, Pacing, Workspace, installs_carried
from bot.store.store import Store


async def test_a_channel_takes_three_at_once_and_then_six_in_ten_seconds() -> None:
    pacing, now = Pacing(), 1_000_000
    assert [await pacing.post("C1", ANSWER, now) for _ in range(3)] == [0, 0, 0]
    at = await pacing.post("C1", ANSWER, now)
    assert at == now + 1667
    assert await pacing.post("C1", ANSWER, at - 1) == at
    assert await pacing.post("C1", ANSWER, at) == 0
    assert await pacing.post("C2", ANSWER, now) == 0


async def test_a_call_finds_room_kept_for_it_and_no_more_than_that() -> None:
    pacing, now = Pacing(), 1_000_000
    while await pacing.post("C1", NUDGE, now) == 0:
        pass
    assert await pacing.post("C1", ESCALATION, now) == 0
    assert await pacing.post("C1", ESCALATION, now) > now
    assert await pacing.post("C1", NUDGE, now) > now


async def test_a_block_holds_for_everyone_in_that_channel() -> None:
    pacing, now = Pacing(), 1_000_000
    pacing.block("C1", now + 7000)
    assert await pacing.post("C1", ESCALATION, now) == now + 7000
    assert await pacing.post("C2", ANSWER, now) == 0
    assert await pacing.post("C1", ANSWER, now + 7000) == 0
    pacing.block_edits(now + 5000)
    assert pacing.edit(now) == now + 5000


@given(
    st.lists(
        st.tuples(st.integers(0, 4000), st.sampled_from([ESCALATION, ANSWER, NUDGE])),
        max_size=200,
    )
)
def test_what_the_pace_lets_through_the_platform_takes(steps: list[tuple[int, int]]) -> None:
    async def run() -> None:
        now = 1_000_000
        pacing, platform = Pacing(), RateLimits(lambda: now)
        for step, urgency in steps:
            now += step
            if await pacing.post("C1", urgency, now) == 0:
                platform.post("C1")

    asyncio.run(run())


def test_twice_the_pace_would_be_refused() -> None:
    """The check above can fail: a share of 1.6 is more than the platform takes."""
    now = 1_000_000
    drip, platform = Drip(60 * 1.6, 3), RateLimits(lambda: now)

    def all_in_a_minute() -> None:
        nonlocal now
        for now in range(1_000_000, 1_060_000, 100):
            if drip.free_at(now) <= now:
                drip.take(now)
                platform.post("C1")

    with pytest.raises(RateLimited):
        all_in_a_minute()


async def test_the_workspace_is_counted_in_the_store_for_all_processes(store: Store) -> None:
    now = 1_000_000
    first = Pacing(burst=100, workspace=Workspace(store))
    second = Pacing(burst=100, workspace=Workspace(store))
    went = 0
    for pacing in (first, second) * 20:
        went += await pacing.post("C1", ANSWER, now) == 0
    assert went == 30  # 180 a minute, of which ten seconds' worth may come at once
    wait = await first.post("C2", ANSWER, now)
    assert now < wait <= now + 1000
    assert await second.post("C2", ESCALATION, now) == 0
    assert await first.post("C3", ANSWER, wait) == 0


async def test_one_replica_at_a_time_sends_to_a_channel(store: Store) -> None:
    seconds = 0.0
    first = ChannelLeases(store, "one", monotonic=lambda: seconds)
    second = ChannelLeases(store, "two", monotonic=lambda: seconds)
    assert await first.held("C1")
    assert not await second.held("C1")
    assert await second.held("C2")
    seconds = 11.0
    assert await first.held("C1")  # renewed
    await store.unlease("C1", "one")
    assert await second.held("C1")
    seconds = 22.0
    assert not await first.held("C1")


def test_how_many_installs_a_channel_carries() -> None:
    """24 posts in a visit of 40 minutes: 0.6 a second carries 60 visits at a time."""
    assert installs_carried(24, 40) == 60


async def test_a_full_workspace_is_not_asked_again_before_it_can_have_room(store: Store) -> None:
    class Counting:
        asked = 0

        async def take(
            self, limit: str, *, now: int, per_minute: int, size: int, count: int = 1
        ) -> int:
            self.asked += 1
            return await store.take(limit, now=now, per_minute=per_minute, size=size, count=count)

    now, taker = 1_000_000, Counting()
    pacing = Pacing(burst=1000, workspace=Workspace(taker))
    assert pacing.full_until(now, 0) == 0
    while (until := await pacing.post("C1", ANSWER, now)) == 0:
        pass
    asked = taker.asked
    assert [await pacing.post(f"C{n}", ANSWER, now) for n in range(50)] == [until] * 50
    assert taker.asked == asked
    # Three a second: who waits behind two others is looked at again when those have gone.
    assert [pacing.full_until(now, n) - until for n in (0, 1, 3)] == [0, 333, 1000]
    assert await pacing.post("C1", ESCALATION, now) == 0  # calls have their reserve
    assert pacing.full_until(until, 0) == 0
    assert await pacing.post("C1", ANSWER, until) == 0
