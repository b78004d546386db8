"""Site lists as workbooks (.xlsx)."""

import io
import itertools
import re
import warnings
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

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

MAX_UNPACKED = 256 * 1024 * 1024
_DAMAGE = (
    InvalidFileException, zipfile.BadZipFile, zlib.error, ElementTree.ParseError, OSError,
    EOFError, LookupError, ValueError, TypeError, AttributeError, RuntimeError,
    OverflowError,
)  # fmt: skip
_ZEROS = re.compile(r"0+")


def table(path: Path, data: bytes) -> Table:
    """Read the first visible sheet that has the header line."""
    _bounded(path, data)
    with _reported(path), warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)  # on styles and extensions we do not use
        book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, keep_links=False)
    visible = [sheet for sheet in book.worksheets if sheet.sheet_state == "visible"]
    hidden = [sheet for sheet in book.worksheets if sheet.sheet_state != "visible"]
    likely: tuple[Any, Row] | None = None
    for sheet in visible:
        header = _header(path, sheet)
        if header is None:
            continue
        if columns.score(header.cells) >= SURE:
            return _from(path, sheet, header, _other_sheet(sheet, visible[0]))
        likely = likely or (sheet, header)
    for sheet in hidden:
        header = _header(path, sheet)
        if header is not None and columns.score(header.cells) >= SURE:
            what = f"has its site list on the hidden sheet '{sheet.title}'"
            raise Unreadable(whole(path, what, "unhide that sheet or remove it"))
    if likely is None:
        raise Unreadable(whole(path, "is empty", "start from the list that --template writes"))
    return _from(path, *likely, [])


def _header(path: Path, sheet: Any) -> Row | None:
    first = list(itertools.islice(_rows(path, sheet), LOOK_FOR_HEADER))
    at = header_at(first)
    return None if at is None else first[at]


@contextmanager
def _reported(path: Path) -> Iterator[None]:
    """What the library raises on a damaged workbook is many things; to people it is one."""
    try:
        yield
    except _DAMAGE as error:
        raise Unreadable(
            whole(
                path,
                f"is damaged, or is no workbook ({type(error).__name__})",
                "open it, save it as .xlsx or CSV, and try again",
            )
        ) from None


def _from(path: Path, sheet: Any, header: Row, notes: list[Problem]) -> Table:
    later = (row for row in _rows(path, sheet) if row.line > header.line)
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


def _bounded(path: Path, data: bytes) -> None:
    """Refuse what would unpack to more than memory should hold."""
    with _reported(path), zipfile.ZipFile(io.BytesIO(data)) as packed:
        total = sum(item.file_size for item in packed.infolist())
    if total > MAX_UNPACKED:
        raise Unreadable(whole(path, "unpacks to too much data", "keep only the site list in it"))


def _rows(path: Path, sheet: Any) -> Iterator[Row]:
    if hasattr(sheet, "reset_dimensions"):
        sheet.reset_dimensions()  # some programs write a wrong size; read what is there
    rows = enumerate(sheet.iter_rows(), start=1)
    while True:
        with _reported(path), warnings.catch_warnings():
            warnings.simplefilter("ignore", UserWarning)  # a bad date is reported as a bad cell
            item = next(rows, None)
        if item is None:
            return
        yield _row(*item)


def _row(line: int, cells: Sequence[Any]) -> Row:
    row = Row(line, [])
    for index, cell in enumerate(cells):
        text, mark = _text(cell)
        row.cells.append(text)
        if mark:
            row.marks[index] = mark
    return row


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
