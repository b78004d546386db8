"""Site lists as workbooks (.xlsx)."""

import itertools
import re
import zipfile
from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any

import openpyxl
from openpyxl.utils.exceptions import InvalidFileException

from bot.plan import columns
from bot.plan.problem import Problem, Unreadable
from bot.plan.table import (
    ERROR,
    FORMULA,
    LOOK_FOR_HEADER,
    NUMBER,
    SURE,
    Row,
    Table,
    header_at,
    whole,
)

MAX_UNPACKED = 512 * 1024 * 1024
_ZEROS = re.compile(r"0+")


def table(path: Path) -> Table:
    """Read the first visible sheet that has the header line."""
    _bounded(path)
    try:
        book = openpyxl.load_workbook(path, read_only=True, data_only=False, keep_links=False)
    except (InvalidFileException, zipfile.BadZipFile, KeyError, ValueError, OSError) as error:
        raise Unreadable(
            whole(
                path,
                f"is not a workbook that can be read ({type(error).__name__})",
                "open it, save it as .xlsx or CSV, and try again",
            )
        ) from None
    visible = [s for s in book.worksheets if s.sheet_state == "visible"]
    hidden = [s for s in book.worksheets if s.sheet_state != "visible"]
    fallback: tuple[Any, list[Row], int] | None = None
    for sheet in visible:
        first = list(itertools.islice(_rows(sheet), LOOK_FOR_HEADER))
        at = header_at(first)
        if at is None:
            continue
        if columns.score(first[at].cells) >= SURE:
            return _from(sheet, first[at], _other_sheet(sheet, visible[0]))
        fallback = fallback or (sheet, first, at)
    for sheet in hidden:
        first = list(itertools.islice(_rows(sheet), LOOK_FOR_HEADER))
        at = header_at(first)
        if at is not None and columns.score(first[at].cells) >= SURE:
            raise Unreadable(
                whole(
                    path,
                    f"has its site list on the hidden sheet '{sheet.title}'",
                    "unhide that sheet or remove it",
                )
            )
    if fallback is None:
        raise Unreadable(whole(path, "is empty", "start from the list that --template writes"))
    sheet, first, at = fallback
    return _from(sheet, first[at], [])


def _from(sheet: Any, header: Row, notes: list[Problem]) -> Table:
    later = (row for row in _rows(sheet) if row.line > header.line)
    return Table(header, later, notes)


def _other_sheet(sheet: Any, first: Any) -> list[Problem]:
    if sheet is first:
        return []
    return [
        Problem(
            0,
            "",
            sheet.title,
            "is the sheet that was read, the first that has the header",
            "move the list to the first sheet if another was meant",
        )
    ]


def _bounded(path: Path) -> None:
    """Refuse what would unpack to more than memory should hold."""
    try:
        with zipfile.ZipFile(path) as packed:
            total = sum(item.file_size for item in packed.infolist())
    except zipfile.BadZipFile:
        raise Unreadable(whole(path, "is a damaged workbook", "save it again as .xlsx")) from None
    if total > MAX_UNPACKED:
        raise Unreadable(whole(path, "unpacks to too much data", "keep only the site list in it"))


def _rows(sheet: Any) -> Iterator[Row]:
    if hasattr(sheet, "reset_dimensions"):
        sheet.reset_dimensions()  # some programs write a wrong size; read what is there
    for line, cells in enumerate(sheet.iter_rows(), start=1):
        row = Row(line, [])
        for index, cell in enumerate(cells):
            text, mark = _text(cell)
            row.cells.append(text)
            if mark:
                row.marks[index] = mark
        yield row


def _text(cell: Any) -> tuple[str, str]:
    """A cell as text, and its kind where that matters."""
    value = cell.value
    if value is None:
        return "", ""
    kind = cell.data_type
    if kind == "f":
        return str(getattr(value, "text", value)), FORMULA
    if kind == "e":
        return str(value), ERROR
    if isinstance(value, str):
        return value, ""
    if isinstance(value, bool):
        return str(value).upper(), ""
    if isinstance(value, (int, float)):
        return _number(value, cell.number_format)
    return _moment(value, cell.number_format), ""


def _number(value: int | float, number_format: str) -> tuple[str, str]:
    whole_number = isinstance(value, int) or value.is_integer()
    if whole_number and _ZEROS.fullmatch(number_format) and len(number_format) > 1:
        return f"{int(value):0{len(number_format)}d}", ""  # its format still shows the zeros
    return (str(int(value)) if whole_number and abs(value) < 1e15 else repr(value)), NUMBER


def _moment(value: object, number_format: str) -> str:
    """A date cell as wall time, rounded to the second; without a time when none is shown."""
    if isinstance(value, datetime):
        near = (value + timedelta(milliseconds=500)).replace(microsecond=0)
        if near.time() == time(0) and "h" not in number_format.lower():
            return near.strftime("%Y-%m-%d")
        return near.strftime("%Y-%m-%d %H:%M:%S" if near.second else "%Y-%m-%d %H:%M")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, time):
        return value.strftime("%H:%M")
    return str(value)
