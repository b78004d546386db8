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


class Ours(NamedTuple):
    """One run of ours; CPU in seconds, of the bot's process and of the store's."""

    result: Result
    bot_cpu: float
    store_cpu: float


class Bench:
    """One store, emptied and filled anew for each measurement."""

    def __init__(self, url: str, count: int) -> None:
        self.url, self.count = url, count

    async def floor(self, *, connections: int = CONNECTIONS, rate: float = 0) -> Result:
        """``count`` events at the bare handler."""
        empty(self.url)
        wanted = [request("floor", units.name(n)[1], f"e{n}") for n in range(self.count)]
        server = Server("floor", self.url, units.now())
        try:
            return await run_load(server, wanted, connections=connections, rate=rate)
        finally:
            server.stop()

    async def ours(
        self, *, each: int = 1, connections: int = CONNECTIONS, rate: float = 0, opened: int = 0
    ) -> Ours:
        """``count`` events, ``each`` of every unit, with at least ``opened`` units open."""
        number = self.count // each
        events = [
            request("ours", units.name(n)[1], f"e{n}-{turn}")
            for turn in range(each)
            for n in range(number)
        ]
        async with empty_store(self.url) as store:
            with quick_writing(self.url):
                await units.lay(store, [units.copy(WAVE, n) for n in range(max(number, opened))])
            server = Server("ours", self.url, units.now())
            try:
                before = server.cpu(), store_cpu(self.url)
                result = await run_load(server, events, connections=connections, rate=rate)
                after = server.cpu(), store_cpu(self.url)
            finally:
                server.stop()
            await _check(store, number, len(events))
        return Ours(result, after[0] - before[0], after[1] - before[1])


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


async def growth(bench: Bench, opened: int) -> tuple[float, list[list[object]]]:
    """CPU per event with ``opened`` units open, in parts of that with 1,000; and its rows."""
    small = Bench(bench.url, min(bench.count, FEW_OPEN))
    rows: list[list[object]] = []
    costs = []
    for number in (FEW_OPEN, opened):
        runs = [await small.ours(opened=number) for _ in range(3)]
        bot, store = (
            middle([part / small.count * 1e6 for part in parts])
            for parts in ([run.bot_cpu for run in runs], [run.store_cpu for run in runs])
        )
        costs.append(bot + store)
        rows.append([f"{number} open, CPU us per event", bot, store, bot + store])
    return costs[1] / costs[0], rows


async def measure(args: argparse.Namespace) -> dict[str, object]:
    """All runs; prints the table and gives the figures."""
    runs: dict[str, list[Result]] = {}
    cpu: list[float] = []

    def note(what: str, result: Result) -> float:
        runs.setdefault(what, []).append(result)
        return result.rate

    async with fresh_store() as url:
        bench = Bench(url, args.units)
        for _ in range(args.rounds):
            floor = note("floor", await bench.floor())
            cold = await bench.ours()
            cpu.append(cold.bot_cpu / args.units * 1e6)
            half = note("cold", cold.result) / 2
            note("warm", (await bench.ours(each=WARM_EVENTS)).result)
            note("cold, 128", (await bench.ours(connections=MANY)).result)
            note("floor, paced", await bench.floor(rate=min(half, floor)))
            note("cold, paced", (await bench.ours(rate=half)).result)
        grown, more = await growth(bench, args.growth) if args.growth else (None, [])

    rate = {what: middle([r.rate for r in found]) for what, found in runs.items()}
    p99 = {what: middle([r.p99 for r in found]) for what, found in runs.items()}
    heading = ["", "events/s", "p50 ms", "p99 ms"]
    table(
        [
            heading,
            *(
                [what, round(rate[what]), middle([r.p50 for r in found]) * 1e3, p99[what] * 1e3]
                for what, found in runs.items()
            ),
        ]
    )
    if more:
        table([["", "bot", "store", "both"], *more])
    return {
        "cores": os.cpu_count(),
        "sync_us": sync_micros(),
        "units": args.units,
        "rounds": args.rounds,
        "floor": rate["floor"],
        "cold": rate["cold"],
        "warm": rate["warm"],
        "cpu_us": middle(cpu),
        "ratio_cold": rate["cold"] / rate["floor"],
        "ratio_warm": rate["warm"] / rate["floor"],
        "ratio_128": rate["cold, 128"] / rate["cold"],
        "p99_ms": {what: round(value * 1e3, 2) for what, value in p99.items()},
        "p99_ratio": p99["cold, paced"] / p99["floor, paced"],
        "growth": grown,
    }


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
