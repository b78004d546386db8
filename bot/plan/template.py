"""An empty site list with its columns explained."""

import csv
from pathlib import Path

import openpyxl
from openpyxl.styles import Alignment, Font
from openpyxl.utils import get_column_letter

from bot.plan.columns import COLUMNS


def template(path: Path) -> None:
    """Write an empty list: a workbook for .xlsx, otherwise CSV. An existing file is not replaced.

    Raises FileExistsError, or another OSError when the place cannot be written.
    """
    if path.suffix.lower() == ".xlsx":
        _workbook(path)
    else:
        _csv(path)


def _explained() -> list[tuple[str, str, str, str]]:
    return [
        (c.title, "required" if c.required else "optional", c.explain, c.example) for c in COLUMNS
    ]


def _csv(path: Path) -> None:
    """The header line, then one line per column that starts with # and is skipped on reading.

    The mark at the front tells spreadsheets that the text is UTF-8.
    """
    with path.open("x", encoding="utf-8-sig", newline="") as file:
        writer = csv.writer(file, lineterminator="\r\n")
        writer.writerow([column.title for column in COLUMNS])
        writer.writerow(["# Lines starting with # are explanations; they are skipped."])
        for title, need, explain, example in _explained():
            writer.writerow([f"# {title} ({need}): {explain}. Example: {example}"])


def _workbook(path: Path) -> None:
    """A sheet for the sites, its columns set to text so that no digit is lost, and one to read."""
    book = openpyxl.Workbook()
    sheet = book.active
    if sheet is None:  # a new workbook has one sheet; the type says it may not
        sheet = book.create_sheet()
    sheet.title = "sites"
    sheet.append([column.title for column in COLUMNS])
    for index, column in enumerate(COLUMNS, start=1):
        letter = get_column_letter(index)
        sheet.column_dimensions[letter].width = max(14, len(column.title) + 2)
        sheet.column_dimensions[letter].number_format = "@"
        sheet.cell(row=1, column=index).font = Font(bold=column.required)
    sheet.freeze_panes = "A2"
    notes = book.create_sheet("columns explained")
    notes.append(["heading", "needed", "what it holds", "example"])
    for row in _explained():
        notes.append(row)
    for letter, width in zip("ABCD", (24, 10, 90, 34), strict=True):
        notes.column_dimensions[letter].width = width
    for cells in notes.iter_rows(min_row=1, max_row=1):
        for cell in cells:
            cell.font = Font(bold=True)
            cell.alignment = Alignment(horizontal="left")
    with path.open("xb") as file:
        book.save(file)
