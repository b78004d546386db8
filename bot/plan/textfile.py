"""Site lists as text: encodings, delimiters, quoted line breaks."""

import codecs
import csv
import io
import itertools
import re
from collections.abc import Iterator
from pathlib import Path

from bot.plan import columns
from bot.plan.problem import Problem, Unreadable
from bot.plan.table import LOOK_FOR_HEADER, Row, Table, header_at, whole

_BOMS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_SEP_LINE = re.compile(r"\"?sep=(.)\"?\r?\n?", re.IGNORECASE)
DELIMITERS = (",", ";", "\t")


def table(path: Path, data: bytes) -> Table:
    """Read a CSV file with comma, semicolon or tab."""
    text, notes = decoded(path, data)
    if "\x00" in text:
        raise Unreadable(whole(path, "is not a text file", "save it as CSV in UTF-8, or as .xlsx"))
    rows = _rows(text, delimiter(text))
    first, rows = _begun(rows)
    at = header_at(first)
    if at is None:
        raise Unreadable(whole(path, "is empty", "start from the list that --template writes"))
    return Table(first[at], itertools.chain(first[at + 1 :], rows), notes)


def _begun(rows: Iterator[Row]) -> tuple[list[Row], Iterator[Row]]:
    """The first rows and the rest. What stops the reading among the first comes with the rest,
    so that the header line is still found."""
    first: list[Row] = []
    try:
        first.extend(itertools.islice(rows, LOOK_FOR_HEADER))
    except Unreadable as unreadable:
        if not first:
            raise
        return first, map(_raised, [unreadable])  # raised when read on
    return first, rows


def _raised(unreadable: Unreadable) -> Row:
    raise unreadable


def decoded(path: Path, data: bytes) -> tuple[str, list[Problem]]:
    """The text, by byte-order mark, else UTF-8, else Windows-1252 with a note."""
    for bom, name in _BOMS:
        if data.startswith(bom):
            try:
                return data.decode(name), []
            except UnicodeDecodeError:
                raise Unreadable(
                    whole(
                        path,
                        f"is damaged: its mark says {name[:6].upper()} and it is not",
                        "save it again as CSV in UTF-8",
                    )
                ) from None
    try:
        return data.decode("utf-8"), []
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
    try:
        text = data.decode("cp1252")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise Unreadable(
            Problem(
                line,
                "",
                path.name,
                "is neither UTF-8 nor Windows-1252 text",
                "save it as CSV in UTF-8",
            )
        ) from None
    return text, [
        Problem(
            line,
            "",
            path.name,
            "is not UTF-8 and was read as Windows-1252",
            "check accented letters, or save it as CSV in UTF-8",
        )
    ]


def delimiter(text: str) -> str:
    """The mark between cells: what a first line `sep=;` says, else what fits the header line."""
    said = _SEP_LINE.match(text)
    if said:
        return said[1]
    lines = io.StringIO(text, newline="")
    best, best_score = DELIMITERS[0], (0, 0)
    for line in itertools.islice(lines, LOOK_FOR_HEADER):
        if not line.strip() or line.lstrip().startswith(("#", '"#')):
            continue
        for mark in DELIMITERS:
            cells = next(csv.reader([line], delimiter=mark), [])
            score = (columns.score(cells), len(cells) if len(cells) > 1 else 0)
            if score > best_score:
                best, best_score = mark, score
        if best_score[0] > 1:
            break
    return best


def _rows(text: str, mark: str) -> Iterator[Row]:
    """Rows with the physical line each starts on."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark, strict=True)
    line = 1
    try:
        for cells in reader:
            if not (line == 1 and _SEP_LINE.fullmatch(mark.join(cells))):
                yield Row(line, cells)
            line = reader.line_num + 1
    except csv.Error as error:
        raise Unreadable(
            Problem(
                line,
                "",
                "",
                f"the row starting here cannot be read ({error})",
                "close or double the quotation marks in it; nothing after this line was read",
            )
        ) from None
