"""From a row of a table to its cleaned cells by column."""

from dataclasses import dataclass, field

from bot.plan import checks
from bot.plan.columns import Header
from bot.plan.problem import Problem, Refused
from bot.plan.table import ERROR, FORMULA, NUMBER, Row


@dataclass(slots=True)
class Line:
    """One row of the list: its cleaned, non-empty cells by column key.

    `refused` names the columns whose cell was already reported and is not in `cells`.
    """

    line: int
    cells: dict[str, str] = field(default_factory=dict)
    refused: set[str] = field(default_factory=set)
    bad: bool = False


def line_of(row: Row, header: Header, problems: list[Problem]) -> Line:
    """Clean one row; what cannot be accepted is appended to `problems`."""
    line = Line(row.line)
    for index, raw in enumerate(row.cells):
        if not raw:
            continue
        column = header.places.get(index)
        if column is None:
            if raw.strip() and (index >= header.width or not header.cells[index]):
                problems.append(_homeless(row.line, index, raw))
                line.bad = True
            continue
        try:
            _as_written(row.marks.get(index, ""), column.exact)
            text = checks.cleaned(raw)
        except Refused as refused:
            problems.append(Problem(row.line, column.title, raw, refused.what, refused.remedy))
            line.refused.add(column.key)
            line.bad = True
            continue
        if text:
            line.cells[column.key] = text
    return line


def _homeless(line: int, index: int, raw: str) -> Problem:
    return Problem(
        line,
        f"number {index + 1}",
        raw,
        "stands under no heading",
        "give the column a heading, or put quotation marks round a value that holds the delimiter",
    )


def _as_written(mark: str, exact: bool) -> None:
    """Refuse what a workbook cell cannot tell us reliably."""
    if mark == FORMULA:
        raise Refused("is a formula", "copy the column and paste it as values")
    if mark == ERROR:
        raise Refused("is an error value of the workbook", "correct the cell")
    if mark == NUMBER and exact:
        raise Refused(
            "is stored as a number, so leading zeros or a plus sign may be lost",
            "set the column to text and type the value again",
        )
