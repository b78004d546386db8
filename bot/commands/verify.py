"""``musterline verify``: replay the journal, compare with the snapshots, check the hash chain."""

import argparse
import asyncio

from bot.commands.common import fail, settings_argument, settings_of, store_of
from bot.desk.anchors import FOLDER, AnchorFault, faults
from bot.desk.rebuild import rebuild
from bot.desk.replay import Checked, verify
from bot.settings import Settings, SettingsError
from bot.store.errors import StoreError


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("verify", help="replay the journal and compare")
    parser.add_argument(
        "--rebuild",
        action="store_true",
        help="make counters and indexes again first (while the bot is stopped)",
    )
    settings_argument(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """0: all is as recorded; 1: something differs; 2: it cannot be read."""
    try:
        checked = asyncio.run(_verify(settings_of(args), again=args.rebuild))
    except (SettingsError, StoreError, AnchorFault) as error:
        return fail(str(error))
    for problem in checked.problems:
        print(problem)
    print(
        f"{checked.subjects} subjects, {checked.commits} commits, {checked.events} events: "
        f"{'all as recorded' if not checked.problems else f'{len(checked.problems)} problems'}."
    )
    return 1 if checked.problems else 0


async def _verify(settings: Settings, *, again: bool) -> Checked:
    async with store_of(settings, to_read=True) as store:
        if again:
            print(f"Counters and indexes of {await rebuild(store)} visits made again.")
        result = await verify(store)
        result.problems += await faults(store, settings.store.data / FOLDER)
        return result
