"""Many facts of one subject at once: each counts, in its turn."""

import asyncio

import pytest

from bot.desk import Desk
from bot.desk.lines import Lines
from bot.model.fact import Actor, Ordered, Registered
from bot.model.subject import ASIDE, of_visit, of_wave
from bot.plan.live import go_live
from bot.plan.rows import SiteRow
from bot.store.errors import StoreAway
from tests.desk.conftest import ADMIN, NOW, relay


def stranger(n: int) -> Registered:
    return Registered(
        id=f"reg:{n}", subject=ASIDE, received_at=NOW, serial=f"HML-9ZZZ{n:02}", source="registry"
    )


async def test_sixty_units_nobody_expects_register_at_once(desk: Desk) -> None:
    outcomes = await asyncio.gather(*(desk.receive(stranger(n)) for n in range(60)))
    assert {outcome.answer for outcome in outcomes} == {"kept"}
    kept = await desk.state(ASIDE)
    assert kept.count == 60
    assert {item.what for item in kept.items} == {"unknown serial"}


async def test_what_fails_for_many_subjects_at_once_is_all_kept(desk: Desk) -> None:
    """The list itself is one subject too."""
    orders = [
        Ordered(
            id=f"o{n}",
            subject=of_visit("hollowmere-1", f"nowhere-{n}"),
            received_at=NOW,
            actor=Actor(ADMIN, admin=True),
            order="restart",
        )
        for n in range(30)
    ]
    await asyncio.gather(*(desk.receive(order) for order in orders))
    assert (await desk.state(ASIDE)).count == 30


async def test_many_orders_for_one_wave_at_once(desk: Desk, rows: list[SiteRow]) -> None:
    await go_live(desk, rows, channels=["CWAVE01"], now=NOW)
    await relay(desk, of_wave(rows[0].wave).home)
    orders = [
        Ordered(
            id=f"o{n}",
            subject=of_wave(rows[0].wave),
            received_at=NOW,
            actor=Actor(ADMIN, admin=True),
            order=("hold", "resume")[n % 2],
        )
        for n in range(20)
    ]
    outcomes = await asyncio.gather(*(desk.receive(order) for order in orders))
    assert [outcome.answer for outcome in outcomes] == ["ok"] * 20
    assert await desk.state(ASIDE) is None


async def test_who_waits_too_long_is_told_so() -> None:
    lines = Lines(0.01)
    async with lines.turn(ASIDE):
        with pytest.raises(StoreAway, match="wait for the store"):
            async with lines.turn(ASIDE):
                pass
        async with lines.turn(of_wave("another")):
            pass
    async with lines.turn(ASIDE):
        pass


async def test_a_line_nobody_waits_in_is_forgotten() -> None:
    lines = Lines(1)
    for n in range(100):
        async with lines.turn(of_visit("hollowmere-1", f"s{n}")):
            pass
    assert not lines.locks
