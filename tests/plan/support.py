"""Small site lists for the tests: one good row, and changes to it."""

from pathlib import Path
from typing import Any

import openpyxl

from bot.plan.columns import BY_KEY
from bot.plan.importer import Parsed, parse
from bot.plan.problem import Problem

GOOD = {
    "wave": "hollowmere-1",
    "site": "alderbeck",
    "tz": "Europe/London",
    "contact": "U0101",
    "serials": "HML-4F7K2Q",
    "start": "2026-03-12 18:00",
}


def row(**cells: Any) -> dict[str, Any]:
    """The good row with some cells changed; None takes a cell away."""
    return GOOD | cells


def csv_of(*rows: dict[str, Any], delimiter: str = ",") -> str:
    """Rows as CSV text; the columns are those that any row names."""
    keys = list(dict.fromkeys(key for one in rows for key in one))
    lines = [delimiter.join(BY_KEY[key].title for key in keys)]
    lines += [delimiter.join(_quoted(one.get(key)) for key in keys) for one in rows]
    return "\n".join(lines) + "\n"


def _quoted(value: Any) -> str:
    text = "" if value is None else str(value)
    return '"' + text.replace('"', '""') + '"'


def read_text(tmp_path: Path, text: str, encoding: str = "utf-8", **options: Any) -> Parsed:
    path = tmp_path / "sites.csv"
    path.write_bytes(text.encode(encoding))
    return parse(path, **options)


def read_rows(tmp_path: Path, *rows: dict[str, Any], **options: Any) -> Parsed:
    return read_text(tmp_path, csv_of(*rows), **options)


def read_book(
    tmp_path: Path, *rows: dict[str, Any], formats: dict[str, str] | None = None
) -> Parsed:
    """The same rows as a workbook, values as they are (dates stay dates, numbers numbers)."""
    keys = list(dict.fromkeys(key for one in rows for key in one))
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append([BY_KEY[key].title for key in keys])
    for number, one in enumerate(rows, start=2):
        for index, key in enumerate(keys, start=1):
            cell = sheet.cell(row=number, column=index, value=one.get(key))
            if formats and key in formats:
                cell.number_format = formats[key]
    path = tmp_path / "sites.xlsx"
    book.save(path)
    return parse(path)


def only(problems: list[Problem]) -> Problem:
    """The one finding there must be."""
    assert len(problems) == 1, [str(problem) for problem in problems]
    return problems[0]


def expect(problem: Problem, line: int, column: str, value: str, what: str, remedy: str) -> None:
    """Line, column and value exactly; what is wrong and the remedy by a part of them."""
    assert (problem.line, problem.column, problem.value) == (line, column, value), str(problem)
    assert what in problem.what, str(problem)
    assert remedy in problem.remedy, str(problem)
