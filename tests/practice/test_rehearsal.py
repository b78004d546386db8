"""A rehearsal: one seed gives one wave at any speed, and its figures are counted, not hoped for."""

import time
from collections import Counter
from typing import Any

import msgspec
import pytest

from bot.practice import scene
from bot.practice.house import House
from bot.practice.persona import Persona
from bot.practice.rehearsal import Figures, Pace, Rehearsal, doubled, lost

CAST = (
    Persona("smooth", types=0.5),
    Persona("danger"),
    Persona("smooth", "loose_cable"),
    Persona("asks_time"),
    Persona("wordless"),
    Persona("smooth", "not_in_registry", types=1.0),
)


class Played:
    """A rehearsal of a few invented sites that has come to its end, its parts still there."""

    def __init__(self, url: str, *, seed: int, speed: float) -> None:
        rows = scene.sites(len(CAST), seed)
        names = [row.site for row in rows]
        self.house = House(rows, seed, url, dict(zip(names, CAST, strict=False)))
        self.speed = speed
        self.began = time.monotonic()

    async def run(self) -> None:
        await self.house.start()
        house = self.house
        self.rehearsal = Rehearsal(house.world, house.clock, house, speed=self.speed)
        await self.rehearsal.run()
        await house.tidy()

    async def figures(self) -> Figures:
        return await self.rehearsal.figures(self.began, await self.house.traces())

    async def record(self) -> dict[str, Any]:
        """Per visit the ordered (event kind, stage, wave time); per thread (template, wave time).

        Confirmations of several threads at one instant have no order between them, so what
        happened to a visit at one instant is compared as a set; threads hold their order.
        """
        visits: dict[str, Counter[tuple[int, str, str]]] = {}
        async for line in self.house.bot.store.journal(f"w:{self.house.wave}"):
            for raw in line.events:
                entry = msgspec.json.decode(raw)
                event = entry["event"]
                what = (entry["at"], event["event"], str(event.get("stage", "")))
                visits.setdefault(str(line.subject), Counter())[what] += 1
        threads: dict[str, list[tuple[int, str]]] = {}
        for channel in self.house.world.server.workspace.channels.values():
            for stamp in sorted(channel.messages):
                mark = channel.messages[stamp].get("metadata", {}).get("event_payload")
                if mark and "thread" in mark:
                    at = round(float(stamp) * 1000)
                    threads.setdefault(mark["thread"], []).append((at, mark["template"]))
        return {"visits": visits, "threads": threads}


async def played(url: str, *, seed: int = 3, speed: float = 0) -> Played:
    made = Played(url, seed=seed, speed=speed)
    await made.run()
    return made


def _empty(url: str) -> str:
    import redis

    with redis.Redis.from_url(url) as client:
        client.flushall()
    return url


@pytest.mark.slow
async def test_a_seed_gives_the_same_wave_again_and_at_any_speed(store_url: str) -> None:
    records, figures = [], []
    for seed, speed in ((3, 0), (3, 0), (3, 20_000), (4, 0)):
        one = await played(_empty(store_url), seed=seed, speed=speed)
        records.append(await one.record())
        figures.append(await one.figures())
        await one.house.stop()
    first, again, throttled, other = records
    assert first["visits"], "nothing was recorded"
    assert first == again
    assert first == throttled
    assert first != other
    counted = [msgspec.structs.replace(f, wall_seconds=0) for f in figures]
    assert counted[0] == counted[1] == counted[2]


@pytest.mark.slow
async def test_the_figures_are_counted_where_things_are(store_url: str) -> None:
    one = await played(store_url)
    try:
        figures, world = await one.figures(), one.house.world
        traces = await one.house.traces()
        assert (figures.events_lost, figures.messages_doubled) == (0, 0)
        assert figures.units == len(CAST)
        assert figures.online == figures.registrations == len(world.registry.answered) > 0
        assert figures.messages_sent >= sum(
            "event_payload" in m.get("metadata", {})
            for c in world.server.workspace.channels.values()
            for m in c.messages.values()
        )

        event, _ = world.registry.answered[0]
        without = {trace for trace in traces if not trace.endswith(f":{event}")}
        assert lost(world, without) == 1, "a registration without a trace"
        words = next(f for f in traces if f.startswith("chat:") and "/" not in f)
        assert lost(world, traces - {words}) == 1, "words without a trace"
        world.registry.waiting["never-taken"] = b"{}"
        assert lost(world, traces) == 1, "a registration the bot never took"

        channel = next(iter(world.server.workspace.channels.values()))
        stamp = next(s for s, m in channel.messages.items() if "slot" not in _mark(m) and _mark(m))
        channel.messages[f"{stamp}9"] = dict(channel.messages[stamp])
        assert doubled(world) == 1, "a second copy in the chat"
    finally:
        await one.house.stop()


def _mark(message: dict[str, Any]) -> dict[str, Any]:
    found = message.get("metadata", {}).get("event_payload", {})
    return found if isinstance(found, dict) else {}


async def test_a_rehearsal_that_is_told_to_stop_ends_after_the_instant_it_plays(
    store_url: str,
) -> None:
    rows = scene.sites(3, 1)
    house = House(rows, 1, store_url)
    await house.start()
    try:
        steps: list[int] = []

        def step(now: int) -> None:
            steps.append(now)
            rehearsal.stop()

        rehearsal = Rehearsal(house.world, house.clock, house, speed=0.001, on_step=step)
        await rehearsal.run()  # at this speed it would wait for hours
        assert steps == [rehearsal.began]
        assert house.clock.now() == rehearsal.began
    finally:
        await house.stop()


def test_the_pace_is_so_many_minutes_in_each_minute() -> None:
    pace = Pace(60)
    assert pace.seconds(60_000, now=100.0) == pytest.approx(1.0)
    # The next instant is due 1 s later; 0.4 s of that went into work.
    assert pace.seconds(60_000, now=101.4) == pytest.approx(0.6)


def test_a_rehearsal_that_fell_behind_does_not_hurry_afterwards() -> None:
    pace = Pace(60)
    pace.seconds(60_000, now=100.0)
    assert pace.seconds(1_000, now=150.0) == 0
    assert pace.seconds(60_000, now=150.0) == pytest.approx(1.0)


def test_idle_stretches_are_not_waited_out() -> None:
    assert Pace(60).seconds(24 * 3_600_000, now=0.0) == pytest.approx(2.0)


def test_speed_0_never_waits() -> None:
    assert Pace(0).seconds(3_600_000, now=0.0) == 0
