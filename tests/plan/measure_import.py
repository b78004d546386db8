"""How long reading a list takes: `python -m tests.plan.measure_import [ROWS]`. Asserts nothing."""

import csv
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import openpyxl

from bot.plan import listing
from bot.plan.importer import Parsed, parse
from bot.plan.invented import invented


def main(rows: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        text, book = Path(folder) / "sites.csv", Path(folder) / "sites.xlsx"
        bad = Path(folder) / "bad.csv"
        listing.write(text, invented(rows, 1))
        _as_workbook(text, book)
        lines = text.read_text().replace("Europe/London", "Europe/Lodnon").replace("U1", "u1")
        bad.write_text(lines)
        _timed("CSV, all good", lambda: parse(text))
        _timed("workbook, all good", lambda: parse(book))
        _timed("CSV, every row bad", lambda: parse(bad))


def _as_workbook(text: Path, path: Path) -> None:
    book = openpyxl.Workbook(write_only=True)
    sheet = book.create_sheet("sites")
    with text.open(newline="") as file:
        for cells in csv.reader(file):
            sheet.append(cells)
    book.save(path)


def _timed(what: str, read: Callable[[], Parsed]) -> None:
    began = time.perf_counter()
    parsed = read()
    took = time.perf_counter() - began
    print(
        f"{what}: {parsed.rows} rows in {took:.2f} s, {parsed.rows / took:,.0f} a second, "
        f"{len(parsed.sites)} sites, {len(parsed.problems)} problems"
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000)
