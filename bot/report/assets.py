"""The asset list: each unit of each site, what it replaced, and where the old one is.

CSV as RFC 4180 has it. A value that a spreadsheet would take for a formula is put behind an
apostrophe (common practice, no published source).
"""

import csv
import io
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from openpyxl import Workbook

from bot.model.serial import normal
from bot.model.visit.spares_state import Return
from bot.model.visit.state import Unit, Visit

COLUMNS = (
    "wave",
    "site",
    "name",
    "old serial",
    "new serial",
    "model",
    "state",
    "registered at",
    "goes back",
    "return",
    "tracking",
    "wiped at",
    "wiped by",
)
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def rows(visits: Iterable[Visit]) -> Iterator[tuple[str, ...]]:
    """One row for each unit that is expected, and for each other one that goes back."""
    for visit in sorted(visits, key=lambda one: (one.wave, one.id)):
        replaced = {normal(swap.new): swap.old for swap in visit.spares.swaps if swap.new}
        returns = list(visit.spares.returns)
        for unit in visit.units:
            old = replaced.get(normal(unit.serial), "")
            yield _row(visit, unit, old, _pop(returns, old))
        for one in returns:
            yield _row(visit, None, one.serial, one)


def _pop(returns: list[Return], old: str) -> Return | None:
    """The return of the unit that this one replaced; without one, that of the site's old unit."""
    wanted = normal(old)
    found = next((one for one in returns if normal(one.serial) == wanted), None)
    if found is not None:
        returns.remove(found)
    return found


def _row(visit: Visit, unit: Unit | None, old: str, one: Return | None) -> tuple[str, ...]:
    tz = visit.site.tz
    return (
        visit.wave,
        visit.id,
        visit.site.name,
        old,
        unit.serial if unit else "",
        unit.model if unit else "",
        unit.state if unit else "withdrawn",
        _when(unit.registered_at if unit else None, tz),
        one.what if one else "",
        one.stage if one else "",
        one.tracking if one else "",
        _when(one.wiped_at if one else None, tz),
        one.wiped_by if one else "",
    )


def _when(at: int | None, tz: str) -> str:
    """By the site's clock, with its offset from UTC (RFC 3339)."""
    if at is None:
        return ""
    return datetime.fromtimestamp(at / 1000, UTC).astimezone(ZoneInfo(tz)).isoformat(" ", "minutes")


def as_csv(visits: Iterable[Visit]) -> str:
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    writer.writerows([_plain(value) for value in row] for row in rows(visits))
    return out.getvalue()


def _plain(value: str) -> str:
    return f"'{value}" if value.startswith(_FORMULA) else value


def as_xlsx(visits: Iterable[Visit]) -> bytes:
    """A workbook with one sheet; every cell is text, so serials keep their zeros."""
    book = Workbook(write_only=True)
    sheet = book.create_sheet("assets")
    sheet.append(COLUMNS)
    for row in rows(visits):
        sheet.append([_plain(value) for value in row])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()
