"""The registration path against a floor measured in the same run.

    python -m tests.bench.intake [--units N] [--rounds N] [--growth N]

The floor is a bare aiohttp handler on uvloop that checks one HMAC and runs one small script on the
same store, with a sync for every write. Ours is the whole bot over HTTP: *cold*, each unit
registers once; *warm*, several events of the same units. The client is the same for both and has
a process of its own. Each round takes floor and ours in turn; the middle round counts.
``--growth N`` measures CPU per event with N units open against 1,000, in one wave.
"""

import argparse
import asyncio
import os
import sys
from typing import NamedTuple

from bot.model.subject import of_wave
from bot.store.store import Store
from tests.bench import units
from tests.bench.bench import (
    Failed,
    Server,
    empty,
    empty_store,
    fresh_store,
    last_line,
    middle,
    quick_writing,
    run_load,
    store_cpu,
    sync_micros,
    table,
)
from tests.bench.events import request
from tests.bench.load import Result

WAVE = "bench"
CONNECTIONS, MANY = 32, 128
WARM_EVENTS = 8
FEW_OPEN = 1_000
PARTS = 4


class Measured(NamedTuple):
    """One run; CPU in seconds, of the server's process and of the store's."""

    result: Result
    server_cpu: float
    store_cpu: float


class Bench:
    """One store, emptied and filled anew for each measurement."""

    def __init__(self, url: str, count: int) -> None:
        self.url, self.count = url, count

    async def floor(self, *, rate: float = 0) -> Measured:
        """``count`` events at the bare handler."""
        empty(self.url)
        wanted = [request("floor", units.name(n)[1], f"e{n}") for n in range(self.count)]
        server = Server("floor", self.url, units.now())
        try:
            return await self._run(server, wanted, CONNECTIONS, rate)
        finally:
            server.stop()

    async def _run(
        self, server: Server, events: list[bytes], connections: int, rate: float
    ) -> Measured:
        before = server.cpu(), store_cpu(self.url)
        result = await run_load(server, events, connections=connections, rate=rate)
        return Measured(result, server.cpu() - before[0], store_cpu(self.url) - before[1])

    async def ours(
        self, *, each: int = 1, connections: int = CONNECTIONS, rate: float = 0
    ) -> Measured:
        """``count`` events, ``each`` of every unit, all of them open."""
        number = self.count // each
        events = [
            request("ours", units.name(n)[1], f"e{n}-{turn}")
            for turn in range(each)
            for n in range(number)
        ]
        async with empty_store(self.url) as store:
            with quick_writing(self.url):
                await units.lay(store, [units.copy(WAVE, n) for n in range(number)])
            server = Server("ours", self.url, units.now())
            try:
                measured = await self._run(server, events, connections, rate)
            finally:
                server.stop()
            await _check(store, number, len(events))
        return measured


async def _check(store: Store, registered: int, events: int) -> None:
    """Every answer was 202; so every unit is registered, and every event is in the journal once."""
    home = of_wave(WAVE).home
    counted = (await store.get_counters(home)).get("registered", 0)
    facts = [line.fact_id async for line in store.journal(home)]
    if counted != registered or len(facts) != events or len(set(facts)) != events:
        raise Failed(
            f"{events} events of {registered} units were accepted; the store counts {counted} "
            f"units and {len(facts)} events, {len(set(facts))} of them different"
        )


async def growth(url: str, opened: int) -> tuple[float, list[list[object]]]:
    """CPU per event with ``opened`` units open, in parts of that with 1,000; and its rows."""
    rows: list[list[object]] = []
    for number in (FEW_OPEN, opened):
        bot, store = await _cost(url, number)
        rows.append([f"{number} open, CPU us per event", bot, store, bot + store])
    return float(str(rows[1][3])) / float(str(rows[0][3])), rows


async def _cost(url: str, opened: int) -> tuple[float, float]:
    """CPU microseconds of bot and store for one event (cold) with that many units open.

    The same number of events in parts, of units from all over the wave; the first part warms the
    process up, and the middle of the others counts.
    """
    costs: list[tuple[float, float]] = []
    chosen = [n * opened // FEW_OPEN for n in range(FEW_OPEN)]
    async with empty_store(url) as store:
        with quick_writing(url):
            await units.lay(store, [units.copy(WAVE, n) for n in range(opened)])
        server = Server("ours", url, units.now())
        try:
            for part in range(PARTS):
                events = [request("ours", units.name(n)[1], f"e{n}") for n in chosen[part::PARTS]]
                before = server.cpu(), store_cpu(url)
                await run_load(server, events, connections=CONNECTIONS)
                spent = server.cpu() - before[0], store_cpu(url) - before[1]
                costs.append((spent[0] / len(events) * 1e6, spent[1] / len(events) * 1e6))
        finally:
            server.stop()
        await _check(store, FEW_OPEN, FEW_OPEN)
    return middle([bot for bot, _ in costs[1:]]), middle([store for _, store in costs[1:]])


async def measure(args: argparse.Namespace) -> dict[str, object]:
    """All runs; prints the table and gives the figures."""
    runs: dict[str, list[Measured]] = {}

    def note(what: str, measured: Measured) -> float:
        runs.setdefault(what, []).append(measured)
        return measured.result.rate

    async with fresh_store() as url:
        bench = Bench(url, args.units)
        for _ in range(args.rounds):
            floor = note("floor", await bench.floor())
            half = note("cold", await bench.ours()) / 2
            note("warm", await bench.ours(each=WARM_EVENTS))
            note("cold, 128", await bench.ours(connections=MANY))
            note("floor, paced", await bench.floor(rate=min(half, floor)))
            note("cold, paced", await bench.ours(rate=half))
        grown, more = await growth(url, args.growth) if args.growth else (None, [])

    lines = {what: _line(found, args.units) for what, found in runs.items()}
    table(
        [
            ["", "events/s", "p50 ms", "p99 ms", "server us", "store us", "503"],
            *([what, round(line.rate), *line[1:]] for what, line in lines.items()),
        ]
    )
    if more:
        table([["", "bot", "store", "both"], *more])
    floor_rate, cold = lines["floor"].rate, lines["cold"].rate
    return {
        "cores": os.cpu_count(),
        "sync_us": sync_micros(),
        "units": args.units,
        "rounds": args.rounds,
        "floor": floor_rate,
        "cold": cold,
        "warm": lines["warm"].rate,
        "cpu_us": {what: round(line.server + line.store, 1) for what, line in lines.items()},
        "ratio_cold": cold / floor_rate,
        "ratio_warm": lines["warm"].rate / floor_rate,
        "ratio_128": lines["cold, 128"].rate / cold,
        "p99_ms": {what: round(line.p99, 2) for what, line in lines.items()},
        "p99_ratio": lines["cold, paced"].p99 / lines["floor, paced"].p99,
        "growth": grown,
    }


class _Line(NamedTuple):
    """Of several runs, the middle of each: events a second, ms, CPU us per event, 503s in all."""

    rate: float
    p50: float
    p99: float
    server: float
    store: float
    away: int


def _line(found: list[Measured], count: int) -> _Line:
    return _Line(
        middle([m.result.rate for m in found]),
        middle([m.result.p50 for m in found]) * 1e3,
        middle([m.result.p99 for m in found]) * 1e3,
        middle([m.server_cpu for m in found]) / count * 1e6,
        middle([m.store_cpu for m in found]) / count * 1e6,
        sum(m.result.statuses.get("503", 0) for m in found),
    )


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.bench.intake", description=__doc__)
    parser.add_argument("--units", type=int, default=8_000, help="events in each run")
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--growth", type=int, default=0, metavar="N", help="with N units open")
    args = parser.parse_args(arguments)
    try:
        figures = asyncio.run(measure(args))
    except Failed as error:
        print(f"{error}.", file=sys.stderr)
        return 1
    last_line(figures)
    return 0


if __name__ == "__main__":
    sys.exit(main())
