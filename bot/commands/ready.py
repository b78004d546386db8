"""``musterline ready``: what is missing at the sites before they begin, and whose it is."""

import argparse
import asyncio
import csv
import sys
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import msgspec
from rich.console import Console
from rich.table import Table

from bot.commands.common import (
    desk_of,
    fail,
    now_of,
    settings_argument,
    settings_of,
    store_of,
    waves_of,
)
from bot.desk import Desk
from bot.model.fact import Actor, Ordered
from bot.model.serial import normal
from bot.model.subject import Subject, of_visit
from bot.model.visit.ready_gaps import BEFORE, settled
from bot.model.visit.state import Visit
from bot.report.ready import Count, Row, counted, missing, rows
from bot.runbooks.load import RunbookError
from bot.settings import Settings, SettingsError
from bot.speak.catalogue import standard
from bot.store.errors import StoreError
from bot.store.store import Store

#: Who says what a file of the registry says.
_REGISTRY = Actor("registry", admin=True)
_SOON = 7 * 24 * 60 * 60 * 1000


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("ready", help="what is missing at the sites before they begin")
    parser.add_argument("wave", nargs="?", help="one wave only")
    parser.add_argument("--all", action="store_true", help="also starts more than a week ahead")
    parser.add_argument("--json", action="store_true", help="as JSON, one object a line")
    parser.add_argument(
        "--registry",
        type=Path,
        metavar="FILE",
        help="first read what the registry knows: CSV with a column serial, or one a line",
    )
    settings_argument(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """0: nothing is missing; 1: something is; 2: it cannot be read; 3: something is overdue."""
    try:
        known = serials_in(args.registry) if args.registry else None
        settings = settings_of(args)
        found, count, now = asyncio.run(_look(settings, args.wave, known))
    except (SettingsError, StoreError, RunbookError, _NoWave, _NoList) as error:
        return fail(str(error))
    shown = found if args.all else [row for row in found if row.start <= now + _SOON]
    if args.json:
        for row in shown:
            print(msgspec.json.encode(row).decode())
    else:
        _show(shown, count, len(found) - len(shown))
    if any(row.overdue for row in found):
        return 3
    return 1 if found else 0


class _NoWave(Exception):
    """There is nothing to look at; the text says so."""


class _NoList(Exception):
    """The registry's list cannot be used; the text says why."""


def serials_in(path: Path) -> frozenset[str]:
    """The serials of a list, normalised. Raises ``_NoList``."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise _NoList(f"{path} cannot be read: {error.strerror}.") from None
    except UnicodeDecodeError:
        raise _NoList(f"{path} is no text in UTF-8; save it as CSV UTF-8.") from None
    lines = [row for row in csv.reader(text.splitlines()) if any(cell.strip() for cell in row)]
    if not lines:
        raise _NoList(f"{path} names no serial.")
    head = [cell.strip().casefold() for cell in lines[0]]
    column = next((n for n, cell in enumerate(head) if cell in ("serial", "serials")), None)
    if column is None and len(head) > 1:
        raise _NoList(f"{path} has several columns and none is called serial; name one so.")
    rest = lines if column is None else lines[1:]
    cells = (row[column or 0] for row in rest if len(row) > (column or 0))
    return frozenset(normal(cell) for cell in cells if cell.strip())


async def _look(
    settings: Settings, wave: str | None, known: frozenset[str] | None
) -> tuple[list[Row], Count, int]:
    async with store_of(settings, to_read=known is None) as store:
        desk = desk_of(settings, store)
        if desk.surroundings.book.ready is None:
            raise _NoWave(
                f"The runbook {settings.runbook} has no section ready: nothing has to be settled "
                "before a site begins."
            )
        now = await now_of(store)
        waves = await waves_of(store, wave)
        if not waves:
            raise _NoWave(f"There is no wave {wave}." if wave else "There is no wave yet.")
        visits = await _visits(desk, store, waves)
        if known is not None:
            await _registry_says(desk, visits, known, now)
            visits = await _visits(desk, store, waves)
        found = rows(visits, desk.surroundings.book, desk.surroundings.roster, now)
        return found, counted(visits, found), now


async def _visits(desk: Desk, store: Store, waves: list[Subject]) -> list[Visit]:
    return [v for one in waves for v in await desk.surroundings.visits(store, one.home)]


async def _registry_says(desk: Desk, visits: list[Visit], known: frozenset[str], now: int) -> None:
    """Tell each visit that has yet to begin whether the registry knows its serials."""
    for visit in visits:
        if visit.state not in BEFORE:
            continue
        there = all(normal(unit.serial) in known for unit in visit.units)
        if there and settled(visit, "registry", True):
            continue
        await desk.receive(
            Ordered(
                id=f"registry:{visit.id}:{now}",
                subject=of_visit(visit.wave, visit.id),
                received_at=now,
                actor=_REGISTRY,
                order="ready",
                args={"item": "registry", "value": "yes" if there else "no"},
            )
        )


def _show(found: list[Row], count: Count, later: int) -> None:
    if found:
        _table(found)
    more = f" {later} gaps of starts more than a week ahead are left out (--all)." if later else ""
    print(f"{count.ready} of {count.sites} sites that have yet to begin are ready.{more}")


def _table(found: list[Row]) -> None:
    texts = standard().best("en")
    table = Table(box=None, pad_edge=False, header_style="")
    for title in ("start", "site", "missing", "owner", "due"):
        table.add_column(title)
    for row in found:
        due = _local(row.due, row.tz, "%Y-%m-%d")
        table.add_row(
            _local(row.start, row.tz, "%Y-%m-%d %H:%M"),
            row.name,
            missing(row, texts) + (f" Started anyway by {row.anyway}." if row.anyway else ""),
            texts.say(f"owner_{row.owner}", {}),
            f"{due} OVERDUE" if row.overdue else due,
        )
    width = None if sys.stdout.isatty() else 160
    Console(width=width, highlight=False, markup=False).print(table)


def _local(at: int, tz: str, form: str) -> str:
    return datetime.fromtimestamp(at / 1000, UTC).astimezone(ZoneInfo(tz)).strftime(form)
