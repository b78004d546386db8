"""``musterline handover``: each site after its evening, what is odd, and who knows."""

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
from bot.model.handover import Handover, handover, last_day
from bot.model.roster import Roster
from bot.report.handover import lines
from bot.report.words import unmarked
from bot.runbooks.load import RunbookError
from bot.settings import Settings, SettingsError
from bot.speak.catalogue import standard
from bot.store.errors import StoreError

_EVERY_SITE = 1_000_000


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("handover", help="the sites after their evening, what is odd")
    parser.add_argument("wave", nargs="?", help="one wave only")
    parser.add_argument(
        "--last", action="store_true", help="only the last evening and what is not settled"
    )
    parser.add_argument("--json", action="store_true", help="as JSON, one object for each site")
    settings_argument(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """0: nothing is odd; 1: something is, or there is no wave yet; 2: not read, or no such wave."""
    try:
        settings = settings_of(args)
        found, roster = asyncio.run(_look(settings, args.wave, last=args.last))
    except (SettingsError, StoreError, RunbookError) as error:
        return fail(str(error))
    if not found:
        return no_wave(args.wave)
    for wave, one in found:
        if args.json:
            for site in one.sites:
                body = {"wave": wave, **msgspec.to_builtins(site)}
                print(msgspec.json.encode(body).decode())
            continue
        print(wave)
        for line in lines(one, standard().best("en"), roster, most=_EVERY_SITE):
            print(unmarked(line))
    return 1 if any(site.odd for _, one in found for site in one.sites) else 0


async def _look(
    settings: Settings, wave: str | None, *, last: bool
) -> tuple[list[tuple[str, Handover]], Roster]:
    found = []
    async with store_of(settings, to_read=True) as store:
        desk = desk_of(settings, store)
        now = await now_of(store)
        for subject in await waves_of(store, wave):
            visits = await desk.surroundings.visits(store, subject.home)
            one = handover(visits, desk.surroundings.book, now)
            found.append((subject.wave, one.since(last_day(now)) if last else one))
    return found, desk.surroundings.roster
