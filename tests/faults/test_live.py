"""The live bot's own outages: whoever waits hears of them before anything falls due."""

from collections.abc import AsyncIterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import msgspec
import pytest

from bot.app import Bot, Parts
from bot.jumps import JUMP_MS, JUMP_WAIT, Jumps
from bot.live import SHORTEST_GAP, Live
from bot.plan.invented import invented
from bot.practice import scene
from bot.practice.house import QUICK, House
from bot.practice.persona import Persona
from bot.practice.rehearsal import Rehearsal
from bot.settings import StoreSettings
from bot.store.embedded import Embedded

MINUTE = 60_000
SEED = 5
PEOPLE = (Persona("smooth"), Persona("silent"), Persona("smooth", types=1.0))
#: Events by which a visit shows that somebody was silent for too long.
LATE = {"nudged", "window_passed", "deputy_asked", "raised", "called"}


async def _at_once(_seconds: float) -> None:
    """Process time that passes by itself."""


class Killed(BaseException):
    """Stands for the end of the process: nothing handles it."""


async def _dies(_at: int) -> None:
    raise Killed


class Evening:
    """A wave under way, whose bot then goes away. Lives follow each other on one store."""

    def __init__(self, house: House) -> None:
        self.house, self.clock = house, house.clock
        self.server = house.world.server
        self.lives: list[Bot] = [house.bot]
        self.seconds = 1_000.0  # process time

    @property
    def bot(self) -> Bot:
        return self.lives[-1]

    async def die(self) -> int:
        """The bot that was alive until now is gone; gives now."""
        await self.bot.store.alive_mark(self.clock.now())
        await self.bot.stop()
        return self.clock.now()

    def live(self, **parts: Any) -> Live:
        made = Parts(now=self.clock.now, sender=QUICK, may_open=lambda _roster, _at: True)
        self.lives.append(Bot(self.house.settings, scene.runbook(), replace(made, **parts)))
        return Live(self.house.settings, self.bot, monotonic=lambda: self.seconds, sleep=_at_once)

    async def born(self, **parts: Any) -> Live:
        live = self.live(**parts)
        await self.bot.start()
        await live.catch_up()
        return live

    async def events(self, since: int) -> dict[str, list[dict[str, Any]]]:
        """Events of each visit from an instant on."""
        found: dict[str, list[dict[str, Any]]] = {}
        async for line in self.bot.store.journal(f"w:{self.house.wave}"):
            for raw in line.events:
                entry = msgspec.json.decode(raw)
                if line.subject.kind == "visit" and entry["at"] >= since:
                    found.setdefault(line.subject.site, []).append(entry["event"])
        return found

    async def kinds(self, since: int) -> set[str]:
        found = await self.events(since)
        return {event["event"] for events in found.values() for event in events}

    def texts(self, template: str) -> int:
        """How many messages of a template stand in the chat."""
        marks = [
            message.get("metadata", {}).get("event_payload", {})
            for channel in self.server.workspace.channels.values()
            for message in channel.messages.values()
        ]
        return sum(mark.get("template") == template for mark in marks)

    async def running(self) -> list[Any]:
        desk = self.bot.desk
        visits = await desk.surroundings.visits(desk.store, f"w:{self.house.wave}")
        return [v for v in visits if v.state == "running" and v.question is not None]


@pytest.fixture
async def evening(store_url: str) -> AsyncIterator[Evening]:
    """Three visits under way, with open questions, half an hour into the evening."""
    rows = invented(len(PEOPLE), SEED)
    house = House(rows, SEED, store_url, dict(zip((r.site for r in rows), PEOPLE, strict=True)))
    await house.start()
    rehearsal = Rehearsal(house.world, house.clock, house, speed=0)
    until = house.clock.now() + 36 * MINUTE
    while (ahead := await rehearsal.instant()) is not None and ahead < until:
        house.clock.move(ahead)
    found = Evening(house)
    assert len(await found.running()) == 3
    yield found
    for bot in found.lives:
        await bot.stop()
    await house.world.stop()


async def test_after_an_outage_nothing_falls_due_before_everybody_heard_of_it(
    evening: Evening,
) -> None:
    since = await evening.die()
    evening.clock.move(since + 20 * MINUTE)  # every checkpoint and window is over
    live = await evening.born()
    await live.sweep()
    await live.caught_up()
    await live.sweep()
    await evening.bot.settle(evening.clock.now())
    assert not await evening.kinds(since) & LATE
    for events in (await evening.events(since)).values():
        assert [e["extra"] for e in events if e["event"] == "window_extended"] == [20 * MINUTE]
    assert evening.texts("catch_up") == 3
    assert evening.texts("outage") == 1  # one message to the team, never a storm


async def test_a_short_restart_is_no_outage(evening: Evening) -> None:
    since = await evening.die()
    evening.clock.move(since + SHORTEST_GAP - 1)
    await evening.born()
    assert await evening.kinds(since + 1) == set()


@pytest.mark.parametrize("nth", [1, 2, 3, 4])
async def test_a_bot_that_dies_while_it_tells_of_an_outage_loses_none_of_it(
    evening: Evening, nth: int
) -> None:
    """The wave and its three visits are told; the bot dies after one of these commits."""
    since = await evening.die()
    evening.clock.move(since + 10 * MINUTE)
    passed = [0]

    def dies(point: str) -> None:
        passed[0] += point == "commit.after"
        if passed[0] >= nth:
            raise Killed

    dying = await evening.born(probe=dies)
    with pytest.raises(Killed):
        await dying.caught_up()
    await evening.bot.stop()
    evening.clock.move(since + 40 * MINUTE)
    live = await evening.born()
    await live.sweep()
    await live.caught_up()
    await live.sweep()
    await evening.bot.settle(evening.clock.now())
    assert not await evening.kinds(since) & LATE
    found = await evening.events(since)
    assert len(found) == 3
    for events in found.values():
        extra = [e["extra"] for e in events if e["event"] == "window_extended"]
        assert sum(extra) == 40 * MINUTE, extra


async def test_a_bot_that_dies_before_it_tells_anybody_loses_none_of_it(
    evening: Evening, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The gap is written down, the mark of being alive is not."""
    since = await evening.die()
    evening.clock.move(since + 10 * MINUTE)
    live = evening.live()
    await evening.bot.start()
    monkeypatch.setattr(evening.bot.store, "alive_mark", _dies)
    with pytest.raises(Killed):
        await live.catch_up()
    await evening.bot.stop()
    evening.clock.move(since + 40 * MINUTE)
    live = await evening.born()
    await live.caught_up()
    await live.sweep()
    assert not await evening.kinds(since) & LATE
    for events in (await evening.events(since)).values():
        assert [e["extra"] for e in events if e["event"] == "window_extended"] == [40 * MINUTE]


async def test_a_store_that_was_away_is_told_of_before_anything_falls_due(
    evening: Evening,
) -> None:
    """The same for the store: the first sweep after its return tells first."""
    since = evening.clock.now()
    live = await evening.born()
    real = evening.bot.store._link
    gone = type(real)("unix:///nowhere/at/all.sock", evening.bot.store._options)
    evening.bot.store._reads._link = evening.bot.store._writes._link = gone
    await live.sweep()
    await live._alive()
    evening.clock.move(since + 15 * MINUTE)
    evening.seconds += 15 * 60
    await live.sweep()
    evening.bot.store._reads._link = evening.bot.store._writes._link = real
    assert await evening.bot.store.alive_last() == since  # not alive while it was away
    await live.sweep()
    assert not await evening.kinds(since) & LATE
    await live.caught_up()
    await live.sweep()
    assert not await evening.kinds(since) & LATE
    for events in (await evening.events(since)).values():
        assert [e["extra"] for e in events if e["event"] == "window_extended"] == [15 * MINUTE]
    await live._alive()
    assert await evening.bot.store.alive_last() == since + 15 * MINUTE


async def test_no_deadline_fires_by_a_jump_of_the_clock(evening: Evening) -> None:
    """Time that we did not live through counts for nobody, once the next minute confirms it."""
    since = evening.clock.now()
    live = await evening.born()
    await live.sweep()
    evening.seconds += 1
    evening.clock.move(since + 30 * MINUTE)
    await live.sweep()
    await live._alive()
    assert await evening.kinds(since + 1) == set()
    assert await evening.bot.store.alive_last() == since
    evening.seconds += JUMP_WAIT
    evening.clock.move(since + 31 * MINUTE)
    await live.sweep()
    assert not await evening.kinds(since + 1) & LATE
    await live.caught_up()
    await live.sweep()
    assert not await evening.kinds(since + 1) & LATE
    for events in (await evening.events(since + 1)).values():
        # Nobody's time ran until the jump was confirmed and what was missed was read back.
        extra = [e["extra"] for e in events if e["event"] == "window_extended"]
        assert extra == [31 * MINUTE]


class TestJumps:
    """Wall clock in ms, process time in s."""

    def test_a_steady_clock_is_no_jump(self) -> None:
        jumps = Jumps(0, 0)
        assert [jumps.look(n * 250, n / 4) for n in range(10)] == [None] * 10
        assert not jumps.waiting

    def test_a_small_step_is_no_jump(self) -> None:
        jumps = Jumps(0, 0)
        assert jumps.look(250 + JUMP_MS, 0.25) is None
        assert not jumps.waiting

    def test_a_jump_ahead_waits_and_is_then_a_gap(self) -> None:
        jumps = Jumps(0, 0)
        assert jumps.look(600_000, 1) is None
        assert jumps.waiting
        assert jumps.look(659_000, 60) is None
        assert jumps.look(660_000, 61) == (0, 599_000)
        assert not jumps.waiting

    def test_a_jump_that_is_put_right_is_none(self) -> None:
        jumps = Jumps(0, 0)
        jumps.look(600_000, 1)
        jumps.look(10_000, 10)
        assert jumps.look(70_000, 70) is None
        assert not jumps.waiting

    def test_a_jump_back_only_waits(self) -> None:
        jumps = Jumps(600_000, 0)
        jumps.look(0, 1)
        assert jumps.waiting
        assert jumps.look(60_000, 61) is None
        assert not jumps.waiting


async def test_a_part_that_fails_ends_the_bot_and_says_why(
    evening: Evening, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It must not go on without one of its parts: whoever watches it starts it anew."""
    await evening.die()
    live = evening.live()

    async def fails(*_: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("bot.send.sender.Sender.run", fails)
    with pytest.raises(ZeroDivisionError):
        await live.run()


async def test_a_reading_back_that_fails_by_a_mistake_ends_the_bot(
    evening: Evening, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Else the times of all visits would stand still for ever, and nobody would know."""
    evening.clock.move(await evening.die() + 10 * MINUTE)
    live = evening.live()

    async def fails(*_: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("handlers.readback.Reader.run", fails)
    with pytest.raises(ZeroDivisionError):
        await live.run()


async def test_a_start_that_fails_leaves_no_store_behind(evening: Evening, tmp_path: Path) -> None:
    await evening.die()
    settings = evening.house.settings.model_copy(
        update={"store": StoreSettings(data=tmp_path / "d")}
    )

    def fails(point: str) -> None:
        if point == "start.chat":
            raise ZeroDivisionError

    live = Live(settings, Bot(settings, scene.runbook(), Parts(probe=fails)))
    with pytest.raises(ZeroDivisionError):
        await live.run()
    again = Embedded(tmp_path / "d")
    await again.start()
    assert not again.adopted
    await again.stop()
