"""Reading a site list: file in, checked sites and every problem out. Pure but for the file.

A site with anything wrong in any of its rows is left out whole: half a site is worse than none.
Who calls decides whether to go on with the rest.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from bot.model import serial
from bot.plan import checks, columns
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
        _same_but_for_case(groups, result)
        _doubled_serials(groups, result)
        _build(groups, result, now, report)
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
        lines.append(line_of(row, header, result.problems))
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


def _same_but_for_case(groups: list[Group], result: Parsed) -> None:
    """`North-1` and `north-1` are one id to people: two of them are a slip of the keyboard."""
    waves: dict[str, Group] = {}
    sites: dict[tuple[str, str], Group] = {}
    for group in groups:
        first = waves.setdefault(group.wave.casefold(), group)
        if first.wave != group.wave:
            _case_problem(group, "wave", group.wave, first.wave, first, result)
        first = sites.setdefault((group.wave.casefold(), group.site.casefold()), group)
        if first.site != group.site:
            _case_problem(group, "site", group.site, first.site, first, result)


def _case_problem(
    group: Group, key: str, text: str, other: str, first: Group, result: Parsed
) -> None:
    group.bad = first.bad = True
    result.problems.append(
        Problem(
            group.lines[0].line,
            BY_KEY[key].title,
            text,
            f"differs only in capitals from '{other}' on line {first.lines[0].line}",
            "write both the same, or choose ids that differ more",
        )
    )


def _doubled_serials(groups: list[Group], result: Parsed) -> None:
    """A serial stands once in a list, in whatever spelling; which one is right nobody knows."""
    seen: dict[str, tuple[Group, int]] = {}
    for group in groups:
        for line in group.lines:
            for label in serial.several(line.cells.get("serials", "")):
                form = serial.normal(label)
                first, at = seen.setdefault(form, (group, line.line))
                if (first, at) == (group, line.line) and form not in group.serials:
                    group.serials.add(form)
                    continue
                group.bad = first.bad = True
                place = "the same line" if at == line.line else f"line {at}"
                result.problems.append(
                    Problem(
                        line.line,
                        BY_KEY["serials"].title,
                        label,
                        f"stands on line {line.line} and also on {place} (site '{first.site}')",
                        "keep it at the site that has the unit and correct the other",
                    )
                )


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
