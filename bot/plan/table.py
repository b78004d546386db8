"""A file as a table: which kind it is, where its header line stands, and its rows."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from bot.plan import columns
from bot.plan.problem import Problem, Unreadable

MAX_BYTES = 64 * 1024 * 1024
MAX_ROWS = 200_000
LOOK_FOR_HEADER = 20
SURE = 3  # so many known columns make a line the header line beyond doubt

NUMBER, FORMULA, ERROR = "number", "formula", "error"


@dataclass(slots=True)
class Row:
    """One row. `marks` tells what a cell was in a workbook where that matters: index -> kind."""

    line: int
    cells: list[str]
    marks: dict[int, str] = field(default_factory=dict)

    @property
    def empty(self) -> bool:
        return not any(cell.strip() for cell in self.cells)

    @property
    def comment(self) -> bool:
        """A line of explanation: starts with # and has nothing in its other cells."""
        return (
            bool(self.cells)
            and self.cells[0].lstrip().startswith("#")
            and not any(cell.strip() for cell in self.cells[1:])
        )


@dataclass(slots=True)
class Table:
    """The header line and what follows it. Reading on may raise Unreadable."""

    header: Row
    rows: Iterator[Row]
    notes: list[Problem] = field(default_factory=list)


def read(path: Path) -> Table:
    """Open a site list. The content, not the name, decides between workbook and text."""
    from bot.plan import textfile, workbook

    try:
        size = path.stat().st_size
        if size > MAX_BYTES:
            raise Unreadable(
                whole(
                    path, f"is larger than {MAX_BYTES // 1024 // 1024} MB", "split the list by wave"
                )
            )
        data = path.read_bytes()
    except OSError as error:
        raise Unreadable(
            whole(path, f"cannot be read ({error.strerror})", "check the name and the permissions")
        ) from None
    if data.startswith(b"PK\x03\x04"):
        return workbook.table(path, data)
    if data.startswith(b"\xd0\xcf\x11\xe0"):
        raise Unreadable(
            whole(
                path,
                "is an old or password-protected workbook",
                "save it without a password as .xlsx or as CSV",
            )
        )
    return textfile.table(path, data)


def whole(path: Path, what: str, remedy: str) -> Problem:
    """A problem of the file as a whole."""
    return Problem(0, "", path.name, what, remedy)


def header_at(rows: Sequence[Row]) -> int | None:
    """Which of the first rows is the header line; None when all are empty."""
    filled = [i for i, row in enumerate(rows) if not row.empty and not row.comment]
    if not filled:
        return None
    for index in filled:
        if columns.score(rows[index].cells) >= SURE:
            return index
    return max(filled, key=lambda index: (columns.score(rows[index].cells), -index))
