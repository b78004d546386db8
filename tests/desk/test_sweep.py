"""Much that is due at once: who must be called comes first, in every wave."""

import pytest
from msgspec.structs import replace

from bot.desk import Desk
from bot.model.message import BOARD, ESCALATION, NUDGE
from bot.model.policy import MINUTE
from bot.model.rank import rank
from bot.model.subject import of_wave
from bot.model.visit.state import Visit
from handlers import clock
from handlers.clock import Sweep
from tests.bench import units
from tests.bench.deadlines import waiting

AT = units.now() + 5 * MINUTE
WAVES = ("first", "second")


def visits(each: int) -> list[Visit]:
    """In each wave, in turn: one to be nudged, and one whose window is over just now."""
    return [
        replace(waiting(number, AT - (number % 2 == 0), silent=number % 2 == 1), wave=wave)
        for wave in WAVES
        for number in range(each)
    ]


async def said(desk: Desk, wave: str) -> list[str]:
    lines = [line async for line in desk.store.journal(of_wave(wave).home)]
    return ["call" if b'"raised"' in line.raw else "nudge" for line in lines]


async def test_calls_of_all_waves_are_in_before_any_nudge(desk: Desk) -> None:
    await units.lay(desk.store, visits(20))
    order: list[str] = []
    desk.on_commit.append(
        lambda commit: order.append("call" if b'"raised"' in b"".join(commit.entries) else "nudge")
    )
    assert await Sweep(desk).run(AT) == 40
    assert order == ["call"] * 20 + ["nudge"] * 20
    for wave in WAVES:
        assert await said(desk, wave) == ["call"] * 10 + ["nudge"] * 10


async def test_after_a_while_nudges_wait_for_the_next_sweep_and_calls_do_not(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(clock, "_AT_ONCE", 4)
    await units.lay(desk.store, visits(20))
    sweep = Sweep(desk)
    assert await sweep.run(AT, patience=0) == 20 + 4
    assert [(await said(desk, wave)).count("call") for wave in WAVES] == [10, 10]
    assert await sweep.run(AT, patience=0) == 4
    assert await sweep.run(AT) == 12
    assert await sweep.run(AT) == 0


def test_what_calls_somebody_is_named() -> None:
    assert rank("call:c1") == rank("window") == rank("watch:0") == ESCALATION
    assert rank("nudge") == rank("begin") == rank("open") == NUDGE
    assert rank("ready_ask") == rank("morning") == NUDGE  # of all sites in the same minute
    assert rank("pin") == BOARD
