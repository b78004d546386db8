"""``musterline assets``: each site's old and new units, and where the old ones are."""

import argparse
import asyncio
from pathlib import Path

from bot.commands.common import (
    desk_of,
    fail,
    no_wave,
    settings_argument,
    settings_of,
    store_of,
    waves_of,
)
from bot.model.visit.state import Visit
from bot.report.assets import as_csv, as_xlsx
from bot.runbooks.load import RunbookError
from bot.settings import Settings, SettingsError
from bot.store.errors import StoreError


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("assets", help="old and new units of each site, as a list")
    parser.add_argument("wave", nargs="?", help="one wave only")
    parser.add_argument("--csv", type=Path, metavar="FILE", help="write CSV there")
    parser.add_argument("--xlsx", type=Path, metavar="FILE", help="write a workbook there")
    settings_argument(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """0: written; 1: there is no wave yet; 2: it cannot be read or written, or no such wave."""
    try:
        visits = asyncio.run(_visits(settings_of(args), args.wave))
        if not visits:
            return no_wave(args.wave)
        if args.csv is not None:
            args.csv.write_text(as_csv(visits), encoding="utf-8", newline="")
        if args.xlsx is not None:
            args.xlsx.write_bytes(as_xlsx(visits))
    except (SettingsError, StoreError, RunbookError) as error:
        return fail(str(error))
    except OSError as error:
        return fail(f"{error.filename} cannot be written: {error.strerror}.")
    for path in filter(None, (args.csv, args.xlsx)):
        print(f"Wrote {path}.")
    if args.csv is None and args.xlsx is None:
        print(as_csv(visits), end="")
    return 0


async def _visits(settings: Settings, wave: str | None) -> list[Visit]:
    found: list[Visit] = []
    async with store_of(settings, to_read=True) as store:
        desk = desk_of(settings, store)
        for one in await waves_of(store, wave):
            found += await desk.surroundings.visits(store, one.home)
    return found
