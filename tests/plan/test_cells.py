"""Single cells: what each may hold, and what is said when it does not."""

from pathlib import Path

import pytest

from bot.plan import checks
from bot.plan.columns import BY_KEY, REQUIRED
from bot.plan.problem import Refused
from tests.plan.support import expect, only, read_rows, row


@pytest.mark.parametrize("key", [column.key for column in REQUIRED])
def test_an_empty_required_cell(tmp_path: Path, key: str) -> None:
    parsed = read_rows(tmp_path, row(**{key: " "}))
    expect(only(parsed.problems), 2, BY_KEY[key].title, "", "no value is given", "fill in")
    assert (parsed.sites, parsed.skipped) == ([], 1)


LONG = "x" * 201


@pytest.mark.parametrize(
    ("key", "value", "what", "remedy"),
    [
        ("wave", "wave one", "is not an id", "as wave-one"),
        ("wave", "-1", "is not an id", "48 letters"),
        ("site", "Älderbeck", "is not an id", "as lderbeck"),
        ("site", "a" * 49, "is not an id", "48 letters"),
        ("contact", "@ada", "is not a chat user id", "copy the id"),
        ("contact", "u0101", "is not a chat user id", "as U0101"),
        ("deputy", "C0101", "is not a chat user id", "copy the id"),
        ("contact", "U" + "1" * 21, "is not a chat user id", "copy the id"),
        ("contact_lang", "English", "is not a language tag", "as en or en-GB"),
        ("contact_lang", "pt_BR", "is not a language tag", "as pt-BR"),
        ("deputy_lang", "e", "is not a language tag", "as en"),
        ("contact_mobile", "07700 900101 (evenings)", "not a telephone number", "digits, spaces"),
        ("phone", "01632/960101", "not a telephone number", "digits, spaces"),
        ("phone", "0", "not a telephone number", "3 to 18 digits"),
        ("phone", "1.63E+11", "rounded number by a spreadsheet", "set the column to text"),
        ("carrier_fault_line", "call them", "not a telephone number", "digits, spaces"),
        ("serials", "4.1E+15", "rounded number by a spreadsheet", "set the column to text"),
        ("serials", "HML 4F7K2Q", "not a list of serials (at HML)", "without spaces inside"),
        ("serials", "A-1", "not a list of serials", "copy the serials"),
        ("serials", "HML-" + "4" * 40, "not a list of serials", "copy the serials"),
        ("serials", "HML-4F7K2Q, unknown", "(at UNKNOWN)", "copy the serials"),
        ("serials", ";", "names no serial", "at least one"),
        ("version", "4E+1", "rounded number by a spreadsheet", "set the column to text"),
        ("circuit", "1,2E+13", "rounded number by a spreadsheet", "set the column to text"),
        ("model", "HG-10;HG-20", "names 2 for 1 serials", "one for all"),
        ("networks", "192.0.2.7/28", "within a range", "write 192.0.2.0/28"),
        ("networks", "192.0.2.0/28, 300.1.1.0/24", "(at 300.1.1.0/24)", "192.0.2.0/28"),
        ("networks", "ask Ruth", "is not an address range", "192.0.2.0/28"),
        ("address", LONG, "is 201 characters long", "shorten it"),
        ("name", LONG, "is 201 characters long", "shorten it"),
        ("checks", "till; Till", "names one thing twice (at Till)", "a name of its own"),
        ("cables", "c" * 41, "has a name of 41 characters", "at most 40"),
        ("depends", LONG, "is 201 characters long", "shorten it"),
        ("networks", LONG, "is 201 characters long", "shorten it"),
        ("serials", LONG, "is 201 characters long", "shorten it"),
        ("version", LONG, "is 201 characters long", "shorten it"),
        ("model", LONG, "is 201 characters long", "shorten it"),
        ("circuit", LONG, "is 201 characters long", "shorten it"),
        ("name", "a\x07b", "control character U+0007", "type it again"),
        ("access", "a\u202eb", "control character U+202E", "type it again"),
        ("serials", "HML-4F7K\u200b2Q", "control character U+200B", "type it again"),
        ("contact", "U01\x1b[2J01", "control character U+001B", "type it again"),
        ("site", "a\x00b", "", ""),
    ],
)
def test_what_is_refused(tmp_path: Path, key: str, value: str, what: str, remedy: str) -> None:
    parsed = read_rows(tmp_path, row(**{key: value}))
    problem = only(parsed.problems)
    assert not parsed.sites
    if "\x00" in value:
        assert "not a text file" in problem.what
        return
    expect(problem, 2, BY_KEY[key].title, value, what, remedy)
    assert parsed.skipped == 1
    assert str(problem).isprintable()
    assert str(problem).startswith(f"line 2, column '{BY_KEY[key].title}': '")


def test_the_sentence() -> None:
    problem = Refused("is not an id", "write another")
    assert str(problem) == "is not an id; write another"


@pytest.mark.parametrize(
    ("key", "value", "kept"),
    [
        ("wave", "A", "A"),
        ("wave", "a" * 48, "a" * 48),
        ("site", "7.b_c-D", "7.b_c-D"),
        ("contact", "W012A4A6AE", "W012A4A6AE"),
        ("contact", "<@U0101>", "U0101"),
        ("contact", "<@U0101|ada>", "U0101"),
        ("contact_lang", "EN-gb", "en-GB"),
        ("contact_lang", "zh-hant-tw", "zh-Hant-TW"),
        ("contact_lang", "es-419", "es-419"),
        ("contact_lang", "ca-valencia", "ca-valencia"),
        ("phone", "+44 (0)1632 960-101", "+44 (0)1632 960-101"),
        ("phone", "101", "101"),
        ("networks", "192.0.2.0/28;192.0.2.16/28 2001:db8::/48",
         ["192.0.2.0/28", "192.0.2.16/28", "2001:db8::/48"]),
        ("networks", "192.0.2.7", ["192.0.2.7/32"]),
        ("depends", "lift telephone; public computers, six", ["lift telephone",
                                                              "public computers, six"]),
        ("checks", "card reader; Wi-Fi", ["card reader", "Wi-Fi"]),
        ("cables", "till", ["till"]),
        ("depends", "lift telephone, kiosk", ["lift telephone", "kiosk"]),
        ("circuit", "HLS-CCT-0101", "HLS-CCT-0101"),
    ],
)  # fmt: skip
def test_what_is_kept(key: str, value: str, kept: object) -> None:
    assert checks.CHECKS[key](value) == kept


@pytest.mark.parametrize(
    ("raw", "text"),
    [
        ("  plain  ", "plain"),
        ("Zoe\u0308", "Zo\u00eb"),
        ("a\u00a0b", "a b"),
        ("1 Mill Lane\r\nAlderbeck", "1 Mill Lane, Alderbeck"),
        ("1 Mill Lane,\nAlderbeck\n", "1 Mill Lane, Alderbeck"),
        ("a;\n\n b", "a; b"),
        ("\ufeffa", "a"),
        ("\u0645\u06cc\u200c\u0631\u0648\u0645", "\u0645\u06cc\u200c\u0631\u0648\u0645"),
    ],
)
def test_cleaning(raw: str, text: str) -> None:
    assert checks.cleaned(raw) == text


def test_serials_under_each_other_in_one_cell(tmp_path: Path) -> None:
    site = read_rows(tmp_path, row(serials="HML-4F7K2Q\nHML-MTHE79")).sites[0]
    assert [unit.label for unit in site.units] == ["HML-4F7K2Q", "HML-MTHE79"]
