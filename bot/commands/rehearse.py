"""``musterline rehearse``: a simulated wave on real parts, on a clock of its own."""

import argparse
import asyncio
import sys
import time
from collections.abc import Callable
from pathlib import Path

import msgspec

from bot.commands.common import fail, run_loop
from bot.commands.stopping import Stop
from bot.plan.rows import SiteRow
from bot.practice import scene
from bot.practice.house import House, row_of
from bot.practice.rehearsal import Figures, Rehearsal
from bot.practice.screen import Screen
from bot.practice.show import Plain, Quiet, Show
from bot.store.embedded import Embedded
from bot.store.errors import StoreError

MOST_UNITS = 20_000
FASTEST = 1_000_000


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "rehearse",
        help="rehearse a wave on this machine: no account, no server needed",
        description="Plays a wave on this machine: the real desk, handlers and store, a stand-in "
        "for the chat platform, simulated contacts, team and units. Nothing leaves the machine.",
        epilog="Exit code: 0 all went as it should; 1 a message was doubled, an event was lost or "
        "a visit came to no end; 2 wrong input; 130 stopped by Ctrl-C, 143 by SIGTERM.",
    )
    parser.add_argument(
        "--units",
        type=_units,
        metavar="N",
        help="an invented wave of N units instead of the demo wave of 40",
    )
    parser.add_argument(
        "--seed", type=_seed, default=1, metavar="N", help="the same seed gives the same wave (1)"
    )
    parser.add_argument(
        "--speed",
        type=_speed,
        default=60.0,
        metavar="N",
        help="minutes of the wave in one minute (60); 0: without waiting",
    )
    parser.add_argument("--headless", action="store_true", help="plain lines for a log")
    parser.add_argument("--json", action="store_true", help="the figures as JSON on the last line")
    parser.add_argument(
        "--thread", metavar="UNIT", help="print the thread of this unit or site at the end"
    )
    parser.add_argument("--data", type=Path, metavar="DIR", help="keep the store in this folder")
    parser.set_defaults(run=run)


def _units(text: str) -> int:
    number = int(text) if text.isascii() and text.isdigit() and len(text) < 10 else 0
    if not 1 <= number <= MOST_UNITS:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number from 1 to {MOST_UNITS}")
    return number


def _seed(text: str) -> int:
    try:
        return int(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number") from None


def _speed(text: str) -> float:
    try:
        speed = float(text)
    except ValueError:
        speed = -1
    if not 0 <= speed <= FASTEST:
        raise argparse.ArgumentTypeError(
            f"{text!r} is not a speed from 0 (no waiting) to {FASTEST}"
        )
    return speed


def run(args: argparse.Namespace) -> int:
    """0: nothing lost, nothing doubled, every visit at its end; 1: not so; 130, 143: stopped."""
    try:
        rows = scene.sites(args.units, args.seed)
        if args.thread and row_of(rows, args.thread) is None:
            return fail(f"No unit or site {args.thread} is in this wave.")
        return run_loop(_run(args, rows))
    except StoreError as error:
        return fail(f"The store of the rehearsal: {error}")


def _show(args: argparse.Namespace) -> Callable[[House], Show]:
    on_terminal = sys.stdout.isatty()
    if args.headless or not on_terminal:
        return Quiet if args.json and not args.headless else Plain
    return lambda house: Screen(house, args.speed, ask=not args.json)


async def _run(args: argparse.Namespace, rows: list[SiteRow]) -> int:
    """Start store, world and bot; play; end them in order, whatever comes."""
    store = Embedded(args.data)
    with Stop() as stop:
        try:
            house = House(rows, args.seed, await store.start())
            await house.start()
            try:
                return await _play(args, house, stop)
            finally:
                await house.stop()
        except asyncio.CancelledError:
            if not stop.code:
                raise
            stop.forgive()
            print("Stopped before the wave began.", file=sys.stderr)
            return stop.code
        finally:
            await store.stop()


async def _play(args: argparse.Namespace, house: House, stop: Stop) -> int:
    began = time.monotonic()
    show = _show(args)(house)
    rehearsal = Rehearsal(house.world, house.clock, house, speed=args.speed, on_step=show.step)
    async with show:
        show.on_quit = rehearsal.stop
        await stop.through(rehearsal.run(), rehearsal.stop)
    await house.tidy()
    figures = await rehearsal.figures(began, await house.traces())
    try:
        await show.end(figures, args.thread, hurried=bool(stop.code))
    except asyncio.CancelledError:  # Ctrl-C when asked which thread: enough read
        if not stop.code:
            raise
        stop.forgive()
    if args.json:
        print(msgspec.json.encode(figures).decode(), flush=True)
    return stop.code or (0 if _good(figures, cut_short=rehearsal.stopped) else 1)


def _good(figures: Figures, *, cut_short: bool) -> bool:
    """Nothing doubled, nothing lost; and every visit came to its end, unless we were stopped."""
    open_visits = set(figures.visits) - {"done", "rebook", "backed out"}
    at_end = cut_short or not open_visits
    return at_end and not figures.messages_doubled and not figures.events_lost
