"""The kill runs: ``python -m tests.faults.kills`` kills the bot and its store many times.

Rehearsals that keep their data are disturbed by SIGKILL at every boundary of commit and post, and
compared with an undisturbed run of the same wave. Prints a table, and as its last line one JSON
object; the exit code is 0 when nothing was lost, nothing doubled and nothing different.
"""

import argparse
import asyncio
import itertools
import random
import shutil
import sys
import tempfile
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import msgspec

from bot.practice.child import Kill
from tests.faults.record import differences
from tests.faults.runs import BETWEEN, BOT_POINTS, OCCASIONS, STORE_POINTS, Run, run, setting

SEEDS = (2, 3, 4, 5)
#: Points that are passed seldom, or once in a life.
_SELDOM = ("start.", "end.", "relay.", "post.late")
_AT_ONCE = 2


class Row(msgspec.Struct):
    """What became of the kills at one point. ``lost``: in the runs that had such a kill."""

    what: str
    point: str
    kills: int = 0
    posted_twice: int = 0
    left_twice: int = 0
    lost: int = 0


class Told(msgspec.Struct):
    """One disturbed run, told without the world it ran in."""

    seed: int
    chance: int
    kills: list[tuple[str, str, int, int]]  # what, point, copies posted, copies left
    lives: int
    messages: int
    registrations: int
    removed: int
    pressed_again: int
    safety_again: int
    lost: int
    different: list[str]
    problems: list[str]
    seconds: float


def schedule(seed: int, chance: int, bots: int, stores: int) -> list[Kill]:
    """Kills of one run: every point in its turn, over all runs equally often."""
    draw = random.Random(f"{seed}/{chance}/kills")
    number = chance * bots
    chosen = [("bot", BOT_POINTS[(number + i) % len(BOT_POINTS)]) for i in range(bots)]
    number = chance * stores
    chosen += [("store", STORE_POINTS[(number + i) % len(STORE_POINTS)]) for i in range(stores)]
    draw.shuffle(chosen)
    kills = [
        Kill(what, point, 1 if point.startswith(_SELDOM) else draw.randint(1, 4))
        for what, point in chosen
    ]
    return kills + _occasions(chance)


def _occasions(chance: int) -> list[Kill]:
    """Most registrations of a run, and some of what people do, each with one kill."""
    made = []
    for on in OCCASIONS:
        for number in range(len(BETWEEN)):
            point = BETWEEN[(number + chance) % len(BETWEEN)]
            what = "store" if (number + chance) % 4 == 3 else "bot"
            made.append(Kill(what, point, on=on))
    return made


def told(seed: int, chance: int, calm: Run, rough: Run, seconds: float) -> Told:
    ended, record = rough.ended, rough.record
    return Told(
        seed=seed,
        chance=chance,
        kills=[(d.kill.what, d.kill.name, d.extra, d.left) for d in ended.deaths],
        lives=ended.lives,
        messages=len(ended.posted),
        registrations=len(ended.accepted),
        removed=ended.removed,
        pressed_again=ended.pressed_again,
        safety_again=record.safety_again,
        lost=record.lost,
        different=differences(calm.record, record),
        problems=[*calm.record.problems, *record.problems],
        seconds=seconds,
    )


async def _series(seed: int, chances: list[int], bots: int, stores: int, data: Path) -> list[Told]:
    """An undisturbed run, and then disturbed ones of the same wave."""
    calm = await run(setting(seed), data / f"{seed}-calm-{chances[0]}", [])
    found = []
    for chance in chances:
        began = time.monotonic()
        kills = schedule(seed, chance, bots, stores)
        rough = await run(setting(seed), data / f"{seed}-{chance}", kills, gap=2, chance=chance)
        one = told(seed, chance, calm, rough, round(time.monotonic() - began, 1))
        print(
            f"wave {seed}, run {chance}: {len(one.kills)} kills, {one.lives} lives, "
            f"{len(one.different)} differences, {len(one.problems)} problems, {one.seconds} s",
            flush=True,
        )
        found.append(one)
    return found


def series(seed: int, chances: list[int], bots: int, stores: int, data: Path) -> list[Told]:
    return asyncio.run(_series(seed, chances, bots, stores, data))


def rows(found: list[Told]) -> list[Row]:
    special = [f"{on} {point}" for on in OCCASIONS for point in BETWEEN]
    table = {("bot", p): Row("bot", p) for p in (*BOT_POINTS, *special)}
    table |= {("store", p): Row("store", p) for p in (*STORE_POINTS, *special)}
    for one in found:
        for what, point, extra, left in one.kills:
            row = table[what, point]
            row.kills += 1
            row.posted_twice += extra
            row.left_twice += left
        for key in {(what, point) for what, point, _, _ in one.kills}:
            table[key].lost += one.lost
    return list(table.values())


def print_table(table: list[Row]) -> None:
    print(f"{'killed':<7}{'at':<30}{'times':>6}{'copies posted':>15}{'copies left':>13}{'lost':>6}")
    for row in table:
        print(
            f"{row.what:<7}{row.point:<30}{row.kills:>6}{row.posted_twice:>15}"
            f"{row.left_twice:>13}{row.lost:>6}"
        )
    for what in ("bot", "store"):
        some = [row for row in table if row.what == what]
        print(
            f"{what:<7}{'all':<30}{sum(r.kills for r in some):>6}"
            f"{sum(r.posted_twice for r in some):>15}{sum(r.left_twice for r in some):>13}"
        )


def main(argv: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=10, help="disturbed runs (10)")
    parser.add_argument("--bots", type=int, default=24, help="kills of the bot in a run (24)")
    parser.add_argument("--stores", type=int, default=7, help="kills of the store in a run (7)")
    parser.add_argument("--data", type=Path, help="keep stores and logs in this folder")
    args = parser.parse_args(argv)
    began = time.monotonic()
    data = args.data or Path(tempfile.mkdtemp(prefix="mu-kills-"))
    data.mkdir(parents=True, exist_ok=True)
    found = list(itertools.chain.from_iterable(_all(args, data)))
    table = rows(found)
    print_table(table)
    for one in found:
        for line in (*one.different, *one.problems):
            print(f"wave {one.seed}, run {one.chance}: {line}")
    figures = _figures(found, table, round(time.monotonic() - began, 1))
    print(msgspec.json.encode(figures).decode())
    good = not any(figures[k] for k in ("differences", "problems", "copies_left", "events_lost"))
    if good and args.data is None:
        shutil.rmtree(data, ignore_errors=True)
    elif not good:
        print(f"stores and logs are kept in {data}", file=sys.stderr)
    return 0 if good else 1


def _all(args: argparse.Namespace, data: Path) -> list[list[Told]]:
    shares: dict[int, list[int]] = {}
    for chance in range(args.runs):
        shares.setdefault(SEEDS[chance % len(SEEDS)], []).append(chance)
    with ProcessPoolExecutor(_AT_ONCE) as pool:
        waiting = [
            pool.submit(series, seed, chances, args.bots, args.stores, data)
            for seed, chances in shares.items()
        ]
        return [one.result() for one in waiting]


def _figures(found: list[Told], table: list[Row], seconds: float) -> dict[str, float | int]:
    kills: Counter[str] = Counter()
    for row in table:
        kills[row.what] += row.kills
    return {
        "runs": len(found),
        "kills_bot": kills["bot"],
        "kills_store": kills["store"],
        "lives": sum(one.lives for one in found),
        "messages": sum(one.messages for one in found),
        "registrations": sum(one.registrations for one in found),
        "copies_posted": sum(row.posted_twice for row in table),
        "copies_removed": sum(one.removed for one in found),
        "copies_left": sum(row.left_twice for row in table),
        "safety_answers_repeated": sum(one.safety_again for one in found),
        "presses_repeated": sum(one.pressed_again for one in found),
        "events_lost": sum(one.lost for one in found),
        "differences": sum(len(one.different) for one in found),
        "problems": sum(len(one.problems) for one in found),
        "wall_seconds": seconds,
    }


if __name__ == "__main__":
    raise SystemExit(main())
