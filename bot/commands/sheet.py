"""``musterline sheet``: a sheet for each site and language, as PDF, to be printed."""

import argparse
from collections.abc import AsyncIterator
from pathlib import Path

from bot.access import Access
from bot.commands.common import (
    desk_of,
    fail,
    no_wave,
    run_loop,
    settings_argument,
    settings_of,
    store_of,
    waves_of,
)
from bot.model.visit.state import Visit
from bot.report.sheet.content import Door, Sheet, Team, languages, sheet_of
from bot.report.sheet.paper import NotInstalled, pdf
from bot.runbooks.load import RunbookError
from bot.settings import Settings, SettingsError
from bot.speak.catalogue import standard
from bot.store.errors import StoreError
from bot.store.store import Store


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("sheet", help="the printed sheets of the sites, as PDF")
    parser.add_argument("--wave", help="one wave only")
    parser.add_argument("--site", help="one site only, by its short id")
    parser.add_argument("--lang", help="one language, instead of those of the site's people")
    parser.add_argument(
        "-o", "--output", type=Path, default=Path("sheets"), metavar="DIR", help="where they go"
    )
    settings_argument(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """0: written; 1: there is no wave yet; 2: it cannot be done, or no such site or wave."""
    known = standard().languages()
    if args.lang and args.lang not in known:
        return fail(f"There are no texts in {args.lang}; there are {', '.join(known)}.")
    try:
        settings = settings_of(args)
        sheets = run_loop(_sheets(settings, args.wave, args.site, args.lang))
        made = [(sheet, pdf(sheet)) for sheet in sheets]
    except (SettingsError, StoreError, RunbookError, NotInstalled) as error:
        return fail(str(error))
    if not made:
        return _nothing(args.wave, args.site)
    try:
        _write(args.output, made)
    except OSError as error:
        return fail(f"{args.output}: cannot be written: {error.strerror}.")
    _told(settings, args.output, sheets)
    return 0


def _nothing(wave: str | None, site: str | None) -> int:
    if not site:
        return no_wave(wave)
    return fail(f"There is no site {site}{f' in wave {wave}' if wave else ''}.")


async def _sheets(
    settings: Settings, wave: str | None, site: str | None, lang: str | None
) -> list[Sheet]:
    async with store_of(settings, to_read=True) as store:
        return [sheet async for sheet in _each(settings, store, wave, site, lang)]


async def _each(
    settings: Settings, store: Store, wave: str | None, site: str | None, lang: str | None
) -> AsyncIterator[Sheet]:
    surroundings = desk_of(settings, store).surroundings
    team = Team(settings.sheet.team_phone, settings.sheet.emergency)
    page = settings.page
    secret = page.secret.get_secret_value().encode()
    door = Door(Access(secret), page.base_url) if page.on else None
    for one_wave in await waves_of(store, wave):
        for visit in await surroundings.visits(store, one_wave.home):
            if site and visit.id != site:
                continue
            people = await _people(store, visit)
            for one in [lang] if lang else languages(visit, standard().languages()):
                yield sheet_of(visit, surroundings.book, standard().texts(one), people, team, door)


async def _people(store: Store, visit: Visit) -> dict[str, dict[str, str]]:
    keys = [p.key for p in (visit.contact, visit.deputy) if p is not None]
    return {key: await store.person_get(key) for key in keys}


def _write(folder: Path, made: list[tuple[Sheet, bytes]]) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for sheet, content in made:
        (folder / f"{sheet.name}.pdf").write_bytes(content)


def _counted(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"


def _told(settings: Settings, folder: Path, sheets: list[Sheet]) -> None:
    sites = len({(sheet.wave, sheet.site) for sheet in sheets})
    count = len(sheets)
    print(f"Wrote {_counted(count, 'sheet')} for {_counted(sites, 'site')} to {folder}.")
    if not settings.page.on:
        print("Without page.base_url and page.secret they have no code and no link to a page.")
    if not settings.sheet.team_phone:
        print("Set sheet.team_phone in the settings: the sheets tell contacts to call you.")
