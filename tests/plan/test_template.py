"""The empty list: it explains itself, and reads back as a list without sites."""

from pathlib import Path

import openpyxl
import pytest

from bot.plan.columns import COLUMNS
from bot.plan.importer import parse, template
from tests.plan.support import expect, only


@pytest.mark.parametrize("name", ["sites.csv", "sites.xlsx", "sites.txt"])
def test_an_empty_list_is_understood_and_empty(tmp_path: Path, name: str) -> None:
    template(tmp_path / name)
    parsed = parse(tmp_path / name)
    expect(only(parsed.problems), 0, "", name, "holds no site", "add a row")
    assert parsed.notes == []


def test_csv_explains_every_column(tmp_path: Path) -> None:
    path = tmp_path / "sites.csv"
    template(path)
    text = path.read_text(encoding="utf-8-sig")
    for column in COLUMNS:
        need = "required" if column.required else "optional"
        assert f"# {column.title} ({need}): {column.explain}" in text.replace('"', "")


def test_the_examples_make_a_good_row(tmp_path: Path) -> None:
    path = tmp_path / "sites.xlsx"
    template(path)
    book = openpyxl.load_workbook(path)
    book["sites"].append([column.example for column in COLUMNS])
    book.save(path)
    parsed = parse(path)
    assert not parsed.problems
    assert not parsed.notes
    assert parsed.sites[0].units[0].label == "HML-4F7K2Q"
    assert parsed.sites[0].depends == ["public computers", "lift telephone"]
    assert parsed.sites[0].cables == ["till", "staff computers"]
    assert parsed.sites[0].checks == ["card reader", "telephone", "printer", "Wi-Fi"]


def test_the_workbook_explains_itself_on_a_second_sheet_and_keeps_digits(tmp_path: Path) -> None:
    path = tmp_path / "sites.xlsx"
    template(path)
    book = openpyxl.load_workbook(path)
    assert book.sheetnames == ["sites", "columns explained"]
    explained = [row[0].value for row in book["columns explained"].iter_rows(min_row=2)]
    assert explained == [column.title for column in COLUMNS]
    widths = book["sites"].column_dimensions
    assert {widths[letter].number_format for letter in ("A", "H", "O", "AC")} == {"@"}


@pytest.mark.parametrize("name", ["sites.csv", "sites.xlsx"])
def test_an_existing_file_is_not_replaced(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    path.write_text("mine")
    with pytest.raises(FileExistsError):
        template(path)
    assert path.read_text() == "mine"
