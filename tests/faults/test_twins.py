"""Two replicas on one store: nothing is done twice, and nobody notices one that is lost."""

import contextlib
from collections import Counter

import pytest
import redis

from bot.plan.invented import invented
from bot.practice.house import House
from bot.practice.persona import Persona
from bot.practice.rehearsal import Rehearsal, doubled
from tests.faults.twins import TwinHouse, nudges_and_calls

SEED = 6
CAST = (
    Persona("smooth", types=0.5),
    Persona("silent"),
    Persona("wants_help"),
    Persona("smooth", "dead_line"),
    Persona("silent"),
)
MINUTE = 60_000


def _house(kind: type[House], url: str) -> House:
    rows = invented(len(CAST), SEED)
    people = dict(zip((row.site for row in rows), CAST, strict=True))
    return kind(rows, SEED, url, people)


async def _evening(house: House, *, lost_at: int | None = None) -> None:
    """A whole evening; after ``lost_at`` minutes one replica is gone."""
    await house.start()
    rehearsal = Rehearsal(house.world, house.clock, house, speed=0)
    began = house.clock.now()
    while (ahead := await rehearsal.instant()) is not None and ahead < began + 6 * 60 * MINUTE:
        if isinstance(house, TwinHouse) and lost_at and ahead > began + lost_at * MINUTE:
            await house.lose()
            lost_at = None
        house.clock.move(ahead)
    await house.tidy()


async def _alone(url: str) -> Counter[tuple[str, str, str]]:
    """What one bot does of the same evening."""
    house = _house(House, url)
    try:
        await _evening(house)
        return await nudges_and_calls(house)
    finally:
        await house.stop()


@pytest.mark.parametrize("lost_at", [None, 55], ids=["both stay", "one is lost"])
async def test_two_replicas_do_as_one_does(store_url: str, lost_at: int | None) -> None:
    wanted = await _alone(store_url)
    with contextlib.closing(redis.Redis.from_url(store_url)) as client:
        client.flushall()
    assert {kind for _, kind, _ in wanted} == {"nudged", "raised", "called"}
    house = _house(TwinHouse, store_url)
    assert isinstance(house, TwinHouse)
    try:
        await _evening(house, lost_at=lost_at)
        found = await nudges_and_calls(house)
        taken = house.balancer.taken
        twice = doubled(house.world)
    finally:
        await house.stop()
    assert len(taken) == 2, "only one of the two was asked anything"
    assert min(taken.values()) > 10
    assert found == wanted
    assert twice == 0
