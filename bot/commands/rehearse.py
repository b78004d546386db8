"""``musterline rehearse``: a simulated wave on real parts, on a clock of its own."""

import argparse
import asyncio
import contextlib
import sys
import time
from collections.abc import Callable
from pathlib import Path

import msgspec

from bot.practice import scene
from bot.practice.house import House
from bot.practice.rehearsal import Figures, Rehearsal
from bot.practice.show import Plain, Quiet, Screen, Show
from bot.store.embedded import Embedded
from bot.store.errors import StoreError


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "rehearse", help="rehearse a wave on this machine: no account, no server needed"
    )
    parser.add_argument("--units", type=_units, help="a larger invented wave of so many units")
    parser.add_argument("--seed", type=int, default=1, help="the same seed gives the same wave")
    parser.add_argument(
        "--speed",
        type=_speed,
        default=60.0,
        help="minutes of wave time in a minute (60); 0: as fast as it goes",
    )
    parser.add_argument("--headless", action="store_true", help="plain lines for a log")
    parser.add_argument("--json", action="store_true", help="figures as JSON on the last line")
    parser.add_argument("--thread", metavar="UNIT", help="print the thread of this unit at the end")
    parser.add_argument("--data", type=Path, help="keep the store in this folder")
    parser.set_defaults(run=run)


def _units(text: str) -> int:
    number = int(text) if text.isdigit() else 0
    if not 1 <= number <= 20_000:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number from 1 to 20000")
    return number


def _speed(text: str) -> float:
    try:
        speed = float(text)
    except ValueError:
        speed = -1
    if not 0 <= speed <= 1_000_000:
        raise argparse.ArgumentTypeError(f"{text!r} is not a speed from 0 to 1000000")
    return speed


def run(args: argparse.Namespace) -> int:
    """Rehearse; 0 when nothing was lost or doubled and every call came to an end."""
    if args.json:
        show: Callable[[House], Show] = Quiet
    elif args.headless or not sys.stdout.isatty():
        show = Plain
    else:
        show = Screen
    try:
        return asyncio.run(_run(args, show))
    except StoreError as error:
        print(f"The store of the rehearsal: {error}", file=sys.stderr)
        return 2


async def _run(args: argparse.Namespace, make_show: Callable[[House], Show]) -> int:
    rows = scene.sites(args.units, args.seed)
    store = Embedded(args.data)
    url = await store.start()
    house = House(rows, args.seed, url)
    try:
        await house.start()
        try:
            return await _play(args, house, make_show(house))
        finally:
            await house.stop()
    finally:
        await store.stop()


async def _play(args: argparse.Namespace, house: House, show: Show) -> int:
    began = time.monotonic()
    rehearsal = Rehearsal(house.world, house.clock, house, speed=args.speed, on_step=show.step)
    with show:
        with contextlib.suppress(asyncio.CancelledError):
            await rehearsal.run()
        figures = await rehearsal.figures(began, house.world.registry.taken)
        await show.end(figures, args.thread)
    if args.json:
        print(msgspec.json.encode(figures).decode())
    return 0 if _good(figures) else 1


def _good(figures: Figures) -> bool:
    open_visits = set(figures.visits) - {"done", "rebook"}
    return not (figures.messages_doubled or figures.events_lost or open_visits)
