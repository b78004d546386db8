"""Reading a site list: file in, checked sites and every problem out. Pure but for the file.

A site with anything wrong in any of its rows is left out whole: half a site is worse than none.
Who calls decides whether to go on with the rest.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from bot.plan import across, checks, columns
from bot.plan.build import Builder, Group
from bot.plan.columns import BY_KEY, Header
from bot.plan.lines import Line, line_of
from bot.plan.problem import Problem, Refused, Unreadable
from bot.plan.rows import SiteRow
from bot.plan.table import MAX_ROWS, Row, Table, read, whole
from bot.plan.template import template

__all__ = ["Parsed", "Problem", "parse", "template"]

Progress = Callable[[int, int], None]
STEP = 250


@dataclass(slots=True)
class Parsed:
    """What a site list holds.

    `rows` counts the filled rows below the header, `skipped` those of them whose site is not in
    `sites`. `notes` stop nothing (a start in the past, an encoding that was guessed).
    """

    sites: list[SiteRow] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    rows: int = 0
    skipped: int = 0
    notes: list[Problem] = field(default_factory=list)


def parse(path: Path, *, progress: Progress | None = None, now: int | None = None) -> Parsed:
    """Read and check a site list (CSV or .xlsx).

    `progress(done, total)` is called in rows; total is 0 while the file is still being read.
    `now` (milliseconds since 1970 UTC) is only used to note starts in the past.
    Nothing is raised for bad input: a file that cannot be read is a problem with line 0.
    """
    report = progress or _unseen
    result = Parsed()
    try:
        table = read(path)
    except Unreadable as unreadable:
        result.problems.append(unreadable.problem)
        return result
    result.notes += table.notes
    header = columns.understand(table.header.line, table.header.cells)
    result.problems += header.problems
    lines = _lines(path, table, header, result, report)
    if header.missing:
        result.skipped = result.rows
    else:
        groups = _grouped(lines, result)
        result.problems += across.problems(groups)
        _build(groups, result, now, report)
        result.notes += across.notes(groups)
    result.problems.sort(key=lambda problem: problem.line)
    result.notes.sort(key=lambda note: note.line)
    return result


def _unseen(_done: int, _total: int) -> None:
    """Progress that nobody watches."""


def _lines(
    path: Path, table: Table, header: Header, result: Parsed, report: Progress
) -> list[Line]:
    lines: list[Line] = []
    for row in _filled(table.rows, result):
        if result.rows == MAX_ROWS:
            result.problems.append(
                whole(path, f"has more than {MAX_ROWS} rows", "split the list by wave")
            )
            break
        result.rows += 1
        lines.append(line_of(row, header, result.problems if not header.missing else []))
        if result.rows % STEP == 0:
            report(result.rows, 0)
    if not result.rows and not result.problems:
        result.problems.append(whole(path, "holds no site", "add a row below the header line"))
    return lines


def _filled(rows: Iterator[Row], result: Parsed) -> Iterator[Row]:
    try:
        for row in rows:
            if not row.empty and not row.comment:
                yield row
    except Unreadable as unreadable:
        result.problems.append(unreadable.problem)


def _grouped(lines: Iterable[Line], result: Parsed) -> list[Group]:
    """Rows by wave and site, in the order of the list."""
    groups: dict[tuple[str, str], Group] = {}
    for line in lines:
        wave, site = _id(line, "wave", result), _id(line, "site", result)
        if wave and site:
            group = groups.setdefault((wave, site), Group(wave, site))
            group.lines.append(line)
            group.bad = group.bad or line.bad
    return list(groups.values())


def _id(line: Line, key: str, result: Parsed) -> str:
    """The wave or site of a row; empty, and reported, when there is none that will do."""
    title, text = BY_KEY[key].title, line.cells.get(key, "")
    if key in line.refused:
        return ""
    if not text:
        result.problems.append(
            Problem(line.line, title, "", "no value is given", f"fill in {BY_KEY[key].explain}")
        )
        return ""
    try:
        return checks.slug(text)
    except Refused as refused:
        result.problems.append(Problem(line.line, title, text, refused.what, refused.remedy))
        return ""


def _build(groups: list[Group], result: Parsed, now: int | None, report: Progress) -> None:
    done = 0
    step = STEP
    for group in groups:
        builder = Builder(group, now)
        site = builder.build()
        result.problems += builder.problems
        result.notes += builder.notes
        done += len(group.lines)
        if site is not None:
            result.sites.append(site)
            result.skipped -= len(group.lines)
        if done >= step:
            report(done, result.rows)
            step = done + STEP
    result.skipped += result.rows
    report(result.rows, result.rows)
