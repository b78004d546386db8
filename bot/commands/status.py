"""``musterline status``: where the waves stand, in the terminal."""

import argparse
import asyncio

import msgspec

from bot.commands.common import (
    desk_of,
    fail,
    no_wave,
    now_of,
    settings_argument,
    settings_of,
    store_of,
    waves_of,
)
from bot.report.words import board_lines, unmarked
from bot.runbooks.load import RunbookError
from bot.settings import Settings, SettingsError
from bot.speak.catalogue import standard
from bot.store.errors import StoreError


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("status", help="where the waves stand")
    parser.add_argument("wave", nargs="?", help="one wave only")
    parser.add_argument("--json", action="store_true", help="as JSON, one object a line")
    settings_argument(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """0: shown; 1: there is no wave yet; 2: it cannot be read, or there is no such wave."""
    try:
        settings = settings_of(args)
        lines = asyncio.run(_lines(settings, args.wave, as_json=args.json))
    except (SettingsError, StoreError, RunbookError) as error:
        return fail(str(error))
    if not lines:
        return no_wave(args.wave)
    print("\n".join(lines))
    return 0


async def _lines(settings: Settings, wave: str | None, *, as_json: bool) -> list[str]:
    lines: list[str] = []
    async with store_of(settings, to_read=True) as store:
        desk = desk_of(settings, store)
        now = await now_of(store)
        for one in await waves_of(store, wave):
            state = await desk.state(one)
            summary = await desk.surroundings.board(store, one.home, now)
            if as_json:
                body = {"wave": one.wave, **msgspec.to_builtins(summary)}
                lines.append(msgspec.json.encode(body).decode())
            else:
                lines += map(unmarked, board_lines(state, summary, standard().best("en")))
    return lines
