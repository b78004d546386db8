"""``musterline import``: a site list, checked as a whole, brought in as a whole."""

import argparse
import asyncio
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from rich.progress import Progress

from bot.commands.common import desk_of, fail, settings_argument, settings_of, store_of
from bot.desk import Desk
from bot.model.people import by_page
from bot.model.subject import of_wave
from bot.plan.importer import Parsed, parse, template
from bot.plan.live import RowNote, compare, go_live
from bot.runbooks.load import RunbookError
from bot.send.relay import Relay
from bot.settings import Settings, SettingsError
from bot.store.errors import StoreError
from bot.store.store import Store

_SHOWN = 100


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("import", help="bring in a list of sites (CSV or XLSX)")
    parser.add_argument(
        "file", type=Path, nargs="?", metavar="FILE", help="the list, .csv or .xlsx"
    )
    parser.add_argument(
        "--template",
        action="store_true",
        help="write an empty list to FILE (sites.csv), its columns explained",
    )
    parser.add_argument("--skip-bad", action="store_true", help="bring in the good sites only")
    parser.add_argument("--dry-run", action="store_true", help="say what would happen, do nothing")
    settings_argument(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """0: brought in; 1: some sites left out (``--skip-bad``); 2: nothing was brought in."""
    if args.template:
        return _template(args.file or Path("sites.csv"))
    if args.file is None:
        return fail(
            "Which list? musterline import FILE; an empty one is written by "
            "musterline import --template sites.csv"
        )
    with _progress() as progress:
        parsed = parse(args.file, progress=progress, now=time.time_ns() // 1_000_000)
    _report(parsed)
    if parsed.problems and (not args.skip_bad or not parsed.sites):
        return fail(_refused(args.file, parsed))
    if not parsed.sites:
        return fail(f"{args.file} holds no site that can be brought in.")
    try:
        with _busy(f"Bringing in {len(parsed.sites)} sites"):
            notes = asyncio.run(_bring_in(settings_of(args), parsed, dry_run=args.dry_run))
    except (SettingsError, StoreError, RunbookError) as error:
        return fail(str(error))
    _told(notes, dry_run=args.dry_run)
    return 1 if parsed.problems else 0


def _refused(path: Path, parsed: Parsed) -> str:
    count = len(parsed.problems)
    said = f"Nothing was brought in: {count} problem{'' if count == 1 else 's'} in {path}."
    if not parsed.sites:
        return said
    return f"{said} Mend the list, or bring in its {len(parsed.sites)} good sites with --skip-bad."


def _template(path: Path) -> int:
    try:
        template(path)
    except FileExistsError:
        return fail(f"{path} exists already; name another file or remove it.")
    except (OSError, ValueError) as error:
        return fail(f"{path} cannot be written: {error}.")
    print(f"Wrote {path}: fill in a row for each unit, then: musterline import {path}")
    return 0


@contextmanager
def _progress() -> Iterator[Callable[[int, int], None] | None]:
    """A bar where somebody watches; nothing in a log."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("Reading", total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total or None)


@contextmanager
def _busy(what: str) -> Iterator[None]:
    """Something that moves where somebody watches; nothing in a log."""
    if not sys.stderr.isatty():
        yield
        return
    from rich.console import Console

    with Console(stderr=True).status(what):
        yield


def _report(parsed: Parsed) -> None:
    for note in parsed.notes[:_SHOWN]:
        print(f"Note: {note}", file=sys.stderr)
    for problem in parsed.problems[:_SHOWN]:
        print(problem, file=sys.stderr)
    more = len(parsed.problems) - _SHOWN
    if more > 0:
        print(f"... and {more} more problems.", file=sys.stderr)


async def _bring_in(settings: Settings, parsed: Parsed, *, dry_run: bool) -> list[RowNote]:
    channels = settings.chat.channels
    if not channels and not dry_run:
        raise SettingsError("chat.channels is not set: in which channel should the wave run?")
    alone = [row.site for row in parsed.sites if by_page(row.contact.user)]
    if alone and not settings.page.on:
        raise SettingsError(
            f"{len(alone)} contacts have no chat account ({alone[0]} is the first), and there are "
            "no pages for them: set page.base_url and page.secret."
        )
    async with store_of(settings) as store:
        desk = desk_of(settings, store)
        if dry_run:
            return await compare(desk, parsed.sites)
        now = time.time_ns() // 1_000_000
        notes = await go_live(desk, parsed.sites, channels=channels, now=now)
        await _carry_out(store, desk, sorted({row.wave for row in parsed.sites}))
        return notes


async def _carry_out(store: Store, desk: Desk, waves: list[str]) -> None:
    """Make the visits of what went live now, rather than when a bot runs next.

    A bot that runs beside us may do the same: what comes twice counts once.
    """
    relay = Relay(store, store, desk)
    for wave in waves:
        while await relay.run(of_wave(wave).home, "relay"):
            pass


def _told(notes: list[RowNote], *, dry_run: bool) -> None:
    counts: dict[str, int] = {}
    for note in notes:
        counts[note.what] = counts.get(note.what, 0) + 1
        if note.what in ("changed", "under way"):
            print(note)
    said = ", ".join(f"{count} {what}" for what, count in sorted(counts.items()))
    print(f"{'Would be' if dry_run else 'Brought in'}: {said}.")
