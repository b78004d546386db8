"""Workbooks: dates that are dates, numbers that lost digits, formulas, sheets."""

# ruff: noqa: DTZ001 - a workbook knows wall time only

import random
from datetime import date, datetime, time, timedelta
from pathlib import Path

import openpyxl
import pytest

from bot.plan import workbook
from bot.plan.columns import BY_KEY
from bot.plan.importer import Parsed, parse
from tests.plan.support import GOOD, expect, only, read_book, read_rows, row


def test_the_same_sites_as_from_text(tmp_path: Path) -> None:
    rows = (row(name="Zoë", phone="01632 960101"), row(site="b", serials="HML-MTHE79"))
    assert read_book(tmp_path, *rows).sites == read_rows(tmp_path, *rows).sites != []


def test_date_cells_are_wall_time_of_the_site(tmp_path: Path) -> None:
    cells = row(start=datetime(2026, 7, 14, 18, 0), end=datetime(2026, 7, 14, 22, 0))
    parsed = read_book(tmp_path, cells)
    text = read_rows(tmp_path, row(start="2026-07-14 18:00", end="2026-07-14 22:00"))
    assert not parsed.problems
    assert parsed.sites == text.sites


def test_a_time_cell_as_window_end(tmp_path: Path) -> None:
    parsed = read_book(tmp_path, row(end=time(22, 0)))
    assert parsed.sites == read_rows(tmp_path, row(end="2026-03-12 22:00")).sites


def test_fractions_of_a_second_are_rounded(tmp_path: Path) -> None:
    cells = row(start=datetime(2026, 3, 12, 17, 59, 59, 999_600))
    assert read_book(tmp_path, cells).sites == read_rows(tmp_path, row()).sites


def test_a_date_cell_without_time(tmp_path: Path) -> None:
    parsed = read_book(tmp_path, row(start=date(2026, 3, 12)))
    expect(
        only(parsed.problems), 2, "start", "2026-03-12", "has no time of day", "2026-03-12 18:00"
    )


def test_midnight_is_a_time_when_the_cell_shows_it(tmp_path: Path) -> None:
    cells = row(start=datetime(2026, 3, 12, 0, 0))
    parsed = read_book(tmp_path, cells, formats={"start": "yyyy-mm-dd hh:mm"})
    assert parsed.sites == read_rows(tmp_path, row(start="2026-03-12 00:00")).sites != []


@pytest.mark.parametrize(
    ("key", "value", "shown"),
    [("serials", 12345678, "12345678"), ("phone", 1632960101, "1632960101"),
     ("version", 4.1, "4.1"), ("circuit", 42, "42"), ("contact_mobile", 7700900101, "7700900101")],
)  # fmt: skip
def test_numbers_that_may_have_lost_digits(
    tmp_path: Path, key: str, value: float, shown: str
) -> None:
    parsed = read_book(tmp_path, row(**{key: value}))
    expect(
        only(parsed.problems),
        2,
        BY_KEY[key].title,
        shown,
        "stored as a number",
        "set the column to text",
    )
    assert parsed.skipped == 1


def test_a_number_whose_format_still_shows_its_zeros(tmp_path: Path) -> None:
    parsed = read_book(tmp_path, row(serials=42), formats={"serials": "00000000"})
    assert not parsed.problems
    assert parsed.sites[0].units[0].label == "00000042"


def test_a_number_as_id_is_its_digits(tmp_path: Path) -> None:
    assert read_book(tmp_path, row(site=7)).sites[0].site == "7"


def test_a_formula_is_refused(tmp_path: Path) -> None:
    parsed = read_book(tmp_path, row(tz='=CONCATENATE("Europe","/London")'))
    expect(
        only(parsed.problems),
        2,
        "time zone",
        '=CONCATENATE("Europe","/London")',
        "is a formula",
        "paste it as values",
    )


def test_an_error_value_is_refused(tmp_path: Path) -> None:
    expect(
        only(read_book(tmp_path, row(address="#REF!")).problems),
        2,
        "address",
        "#REF!",
        "error value",
        "correct the cell",
    )


def _book(tmp_path: Path, *sheets: tuple[str, str, list[list[str]]]) -> Parsed:
    book = openpyxl.Workbook()
    assert book.active is not None
    book.remove(book.active)
    for title, state, rows in sheets:
        sheet = book.create_sheet(title)
        sheet.sheet_state = state
        for cells in rows:
            sheet.append(cells)
    path = tmp_path / "sites.xlsx"
    book.save(path)
    return parse(path)


LIST = [[BY_KEY[key].title for key in GOOD], list(GOOD.values())]
OTHER = [["shopping"], ["milk"]]


def test_the_first_sheet_that_has_the_header_is_read(tmp_path: Path) -> None:
    parsed = _book(tmp_path, ("notes", "visible", OTHER), ("list", "visible", LIST))
    assert len(parsed.sites) == 1
    expect(only(parsed.notes), 0, "", "list", "the sheet that was read", "first sheet")


def test_a_hidden_sheet_is_passed_over(tmp_path: Path) -> None:
    old = [LIST[0], ["hollowmere-1", "old", *LIST[1][2:]]]
    parsed = _book(tmp_path, ("old", "hidden", old), ("list", "visible", LIST))
    assert [site.site for site in parsed.sites] == ["alderbeck"]
    assert not parsed.notes


@pytest.mark.parametrize("state", ["hidden", "veryHidden"])
def test_a_list_only_on_a_hidden_sheet(tmp_path: Path, state: str) -> None:
    parsed = _book(tmp_path, ("front", "visible", OTHER), ("list", state, LIST))
    expect(only(parsed.problems), 0, "", "sites.xlsx", "hidden sheet 'list'", "unhide")


def test_title_lines_above_the_header_and_gaps_keep_row_numbers(tmp_path: Path) -> None:
    bad = [*LIST[1][:2], "Mars/Base", *LIST[1][3:]]
    parsed = _book(tmp_path, ("list", "visible", [["Our rollout"], [], LIST[0], [], bad]))
    assert only(parsed.problems).line == 5


def test_headings_that_are_all_wrong_are_still_named(tmp_path: Path) -> None:
    parsed = _book(tmp_path, ("list", "visible", [["sitte", "contackt"], ["a", "U0101"]]))
    assert [p.value for p in parsed.problems if p.value] == ["sitte", "contackt"]
    assert "rename it to 'site'" in parsed.problems[0].remedy


def test_an_empty_workbook(tmp_path: Path) -> None:
    expect(
        only(_book(tmp_path, ("list", "visible", [])).problems),
        0,
        "",
        "sites.xlsx",
        "is empty",
        "--template",
    )


def test_another_kind_of_archive(tmp_path: Path) -> None:
    path = tmp_path / "sites.xlsx"
    path.write_bytes(b"PK\x03\x04" + bytes(60))
    expect(only(parse(path).problems), 0, "", "sites.xlsx", "is damaged", "save it as .xlsx")


def test_damage_anywhere_is_a_problem_never_a_crash(tmp_path: Path) -> None:
    read_book(tmp_path, *(row(site=f"s{n}", serials=f"HML-{n:06}") for n in range(40)))
    path = tmp_path / "sites.xlsx"
    whole = path.read_bytes()
    draw = random.Random(1)
    reported = 0
    for _ in range(300):
        data = bytearray(whole)
        for _ in range(draw.randrange(1, 6)):
            data[draw.randrange(len(data))] = draw.randrange(256)
        path.write_bytes(data[: draw.randrange(4, len(data))] if draw.random() < 0.2 else data)
        parsed = parse(path)
        assert parsed.sites or parsed.problems
        reported += bool(parsed.problems)
    assert reported > 100


def test_true_and_false_are_words(tmp_path: Path) -> None:
    assert read_book(tmp_path, row(access=True)).sites[0].access == "TRUE"


def test_a_span_of_hours_is_no_time_of_day(tmp_path: Path) -> None:
    parsed = read_book(tmp_path, row(end=timedelta(hours=26)))
    expect(
        only(parsed.problems), 2, "window end", "1 day, 2:00:00", "not a date and time", "write it"
    )


def test_a_workbook_that_unpacks_to_too_much(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(workbook, "MAX_UNPACKED", 1000)
    parsed = read_book(tmp_path, row())
    expect(only(parsed.problems), 0, "", "sites.xlsx", "too much data", "keep only the site list")
