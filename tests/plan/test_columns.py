"""Headings: what is forgiven, and what is said about the rest."""

from pathlib import Path

import pytest

from bot.plan import columns
from bot.plan.importer import parse
from tests.plan.support import csv_of, expect, only, read_rows, read_text, row


@pytest.mark.parametrize(
    "heading", ["Time zone", "time_zone", "TIME-ZONE", "TimeZone", " tz ", "time\nzone"]
)
def test_case_spaces_underscores_and_dashes_are_forgiven(heading: str) -> None:
    column = columns.named(heading)
    assert column is not None
    assert column.key == "tz"


def test_no_name_means_two_columns() -> None:
    names = [
        columns.squeezed(name)
        for column in columns.COLUMNS
        for name in {columns.squeezed(n): n for n in (column.title, *column.also)}.values()
    ]
    assert len(names) == len(set(names))


def test_order_does_not_matter(tmp_path: Path) -> None:
    good = row(name="Alderbeck Library", phone="01632 960101")
    turned = dict(reversed(good.items()))
    first, second = read_rows(tmp_path, good), read_rows(tmp_path, turned)
    assert not first.problems
    assert first.sites == second.sites != []


@pytest.mark.parametrize("column", columns.REQUIRED)
def test_a_missing_required_column_is_one_problem(tmp_path: Path, column: columns.Column) -> None:
    cells = row()
    del cells[column.key]
    parsed = read_rows(tmp_path, cells, cells)
    problem = only(parsed.problems)
    expect(
        problem, 1, column.title, "", "required column is missing", f"add a column '{column.title}'"
    )
    assert (parsed.sites, parsed.rows, parsed.skipped) == ([], 2, 2)


def test_an_unknown_column_gets_the_nearest_name(tmp_path: Path) -> None:
    text = csv_of(row(name="Alderbeck")).replace("name", "adress", 1)
    parsed = read_text(tmp_path, text)
    expect(
        only(parsed.problems),
        1,
        "adress",
        "adress",
        "is not a column",
        "rename it to 'address' or remove it",
    )
    assert len(parsed.sites) == 1  # the rows themselves are good


def test_an_unknown_column_like_none_points_to_the_template(tmp_path: Path) -> None:
    text = csv_of(row(name="x")).replace("name", "zzqqyy", 1)
    expect(
        only(read_text(tmp_path, text).problems),
        1,
        "zzqqyy",
        "zzqqyy",
        "is not a column",
        "--template",
    )


def test_two_headings_for_one_column(tmp_path: Path) -> None:
    text = csv_of(row(name="x")).replace("name", "Zone", 1)
    expect(
        only(read_text(tmp_path, text).problems),
        1,
        "Zone",
        "Zone",
        "names the same column as 'time zone'",
        "keep one",
    )


def test_a_value_under_no_heading(tmp_path: Path) -> None:
    text = csv_of(row()).rstrip("\n") + ",surplus\n"
    parsed = read_text(tmp_path, text)
    expect(only(parsed.problems), 2, "number 7", "surplus", "under no heading", "quotation marks")
    assert parsed.skipped == 1


def test_without_its_columns_a_list_is_not_read_row_by_row(tmp_path: Path) -> None:
    """Somebody named the wrong file: what its rows hold says nothing more."""
    parsed = read_text(tmp_path, "wave\nw1,surplus\nw1,surplus\n")
    assert {problem.what for problem in parsed.problems} == {"this required column is missing"}


def test_an_empty_column_without_heading_is_nothing(tmp_path: Path) -> None:
    lines = csv_of(row()).splitlines()
    parsed = read_text(tmp_path, "\n".join(line + "," for line in lines))
    assert not parsed.problems
    assert len(parsed.sites) == 1


@pytest.mark.parametrize(
    ("cells", "settled"),
    [
        ("2026-03-05,yes,carton; label", ["carton", "label", "line", "registry"]),
        ("no,,deputy", ["deputy"]),
        (",no,", []),
    ],
)
def test_what_is_settled_before_the_evening(tmp_path: Path, cells: str, settled: list[str]) -> None:
    path = tmp_path / "sites.csv"
    head = "wave,site,time zone,contact,serials,start,line tested,in registry,seen on site\n"
    path.write_text(f"{head}w,s,UTC,U0101,HML-4F7K2Q,2026-03-12 18:00,{cells}\n")
    (site,) = parse(path).sites
    assert site.ready == settled


@pytest.mark.parametrize("cells", ["perhaps,,", ",2026-99-99,", ",,carton; roof"])
def test_what_cannot_be_read_of_it_is_refused(tmp_path: Path, cells: str) -> None:
    path = tmp_path / "sites.csv"
    head = "wave,site,time zone,contact,serials,start,line tested,in registry,seen on site\n"
    path.write_text(f"{head}w,s,UTC,U0101,HML-4F7K2Q,2026-03-12 18:00,{cells}\n")
    parsed = parse(path)
    assert not parsed.sites
    assert len(parsed.problems) == 1
