"""CSV as programs really write it."""

from pathlib import Path

import pytest

from bot.plan import importer, table
from bot.plan.importer import parse
from tests.plan.support import csv_of, expect, only, read_rows, read_text, row


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-32"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_encodings_and_delimiters(tmp_path: Path, encoding: str, delimiter: str) -> None:
    text = csv_of(row(name="Łąka, Zoë; 東"), delimiter=delimiter)
    parsed = read_text(tmp_path, text, encoding)
    assert (parsed.problems, parsed.notes) == ([], [])
    assert parsed.sites[0].name == "Łąka, Zoë; 東"


def test_big_endian_with_mark(tmp_path: Path) -> None:
    assert read_text(tmp_path, "\ufeff" + csv_of(row()), "utf-16-be").sites


def test_windows_1252_is_read_with_a_note(tmp_path: Path) -> None:
    text = csv_of(row(), row(site="b", serials="HML-MTHE79", name="Zoë\u2019s"))
    parsed = read_text(tmp_path, text, "cp1252")
    assert not parsed.problems
    assert parsed.sites[1].name == "Zoë\u2019s"
    expect(
        only(parsed.notes), 3, "", "sites.csv", "read as Windows-1252", "save it as CSV in UTF-8"
    )


def test_neither_utf_8_nor_windows_1252(tmp_path: Path) -> None:
    path = tmp_path / "sites.csv"
    path.write_bytes(csv_of(row(name="x")).encode().replace(b'"x"', b'"\x81"'))
    expect(only(parse(path).problems), 2, "", "sites.csv", "neither UTF-8", "save it as CSV")


def test_a_false_mark(tmp_path: Path) -> None:
    path = tmp_path / "sites.csv"
    path.write_bytes(b"\xef\xbb\xbf" + "wave;Zoë".encode("cp1252"))
    expect(only(parse(path).problems), 0, "", "sites.csv", "is damaged", "save it again")


def test_binary_is_not_a_list(tmp_path: Path) -> None:
    path = tmp_path / "sites.csv"
    path.write_bytes(b"\x00\x01\x02" * 50)
    expect(only(parse(path).problems), 0, "", "sites.csv", "not a text file", "save it as CSV")


def test_what_a_spreadsheet_says_of_its_delimiter(tmp_path: Path) -> None:
    parsed = read_text(tmp_path, "sep=|\r\n" + csv_of(row(), delimiter="|"))
    assert not parsed.problems
    assert len(parsed.sites) == 1


@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_line_endings(tmp_path: Path, ending: str) -> None:
    text = csv_of(row(), row(site="b", serials="HML-MTHE79", tz="Mars/Base"))
    parsed = read_text(tmp_path, text.replace("\n", ending))
    assert only(parsed.problems).line == 3
    assert len(parsed.sites) == 1


def test_quoted_line_breaks_count_as_physical_lines(tmp_path: Path) -> None:
    parsed = read_rows(
        tmp_path,
        row(address="1 Mill Lane\nAlderbeck\r\n\r\nHollowmere"),
        row(site="b", serials="HML-MTHE79", tz="Mars/Base"),
    )
    assert parsed.sites[0].address == "1 Mill Lane, Alderbeck, Hollowmere"
    assert only(parsed.problems).line == 6  # header 1, first row 2 to 5


def test_empty_and_explaining_lines_are_skipped(tmp_path: Path) -> None:
    header, first, second = csv_of(row(), row(site="b", serials="HML-MTHE79")).splitlines()
    text = "\n".join(["", "# our list", header, "# explained", "", first, ",,,,,", second, ""])
    parsed = read_text(tmp_path, text)
    assert not parsed.problems
    assert (parsed.rows, parsed.skipped, len(parsed.sites)) == (2, 0, 2)


def test_a_row_is_no_comment_because_its_first_cell_starts_with_a_hash(tmp_path: Path) -> None:
    parsed = read_rows(tmp_path, {"address": "#4 Mill Lane", **row()})
    assert parsed.sites[0].address == "#4 Mill Lane"


def test_a_quotation_mark_never_closed(tmp_path: Path) -> None:
    text = csv_of(row(), row(site="b", serials="HML-MTHE79")) + '"hollowmere-1,c\n'
    parsed = read_text(tmp_path, text)
    expect(
        only(parsed.problems), 4, "", "", "the row starting here cannot be read", "quotation marks"
    )
    assert len(parsed.sites) == 2


@pytest.mark.parametrize("text", ["", "\n\n", "# only words\n"])
def test_an_empty_file(tmp_path: Path, text: str) -> None:
    expect(only(read_text(tmp_path, text).problems), 0, "", "sites.csv", "is empty", "--template")


def test_a_header_without_rows(tmp_path: Path) -> None:
    text = csv_of(row()).splitlines()[0]
    expect(
        only(read_text(tmp_path, text).problems), 0, "", "sites.csv", "holds no site", "add a row"
    )


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    expect(
        only(parse(tmp_path / "none.csv").problems),
        0,
        "",
        "none.csv",
        "cannot be read",
        "check the name",
    )


def test_a_folder(tmp_path: Path) -> None:
    expect(only(parse(tmp_path).problems), 0, "", tmp_path.name, "cannot be read", "check the name")


def test_an_old_workbook_whatever_its_name(tmp_path: Path) -> None:
    path = tmp_path / "sites.csv"
    path.write_bytes(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(100))
    expect(
        only(parse(path).problems),
        0,
        "",
        "sites.csv",
        "old or password-protected",
        "save it without a password",
    )


def test_a_file_that_is_too_large(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(table, "MAX_BYTES", 50)
    expect(only(read_rows(tmp_path, row()).problems), 0, "", "sites.csv", "is larger than", "split")


def test_too_many_rows(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(importer, "MAX_ROWS", 1)
    parsed = read_rows(tmp_path, row(), row(site="b", serials="HML-MTHE79"))
    expect(only(parsed.problems), 0, "", "sites.csv", "has more than 1 rows", "split the list")
    assert len(parsed.sites) == 1


def test_an_error_late_in_the_file_keeps_what_was_read(tmp_path: Path) -> None:
    rows = [row(site=f"s{n}", serials=f"HML-{n:06}") for n in range(30)]
    parsed = read_text(tmp_path, csv_of(*rows) + '"a"b,c\n')
    problem = only(parsed.problems)
    assert (problem.line, len(parsed.sites)) == (32, 30)
    assert "nothing after this line was read" in problem.remedy
