"""Whole sites: several rows, people, units, and what shows across a list."""

from pathlib import Path

import pytest

from bot.plan.problem import Problem
from bot.plan.rows import PersonRow, UnitRow
from tests.plan.support import expect, only, read_rows, row

SECOND = row(site="birkenshade", serials="HML-MTHE79", contact="U0104")


def test_the_least_a_row_may_hold(tmp_path: Path) -> None:
    site = read_rows(tmp_path, row()).sites[0]
    assert (site.wave, site.site, site.name) == ("hollowmere-1", "alderbeck", "alderbeck")
    assert site.contact == PersonRow(user="U0101", lang="en")
    assert site.units == [UnitRow(serial="HML4F7K2Q", label="HML-4F7K2Q")]
    assert (site.deputy, site.end, site.networks, site.depends) == (None, None, [], [])
    assert site.start == 1_773_338_400_000


def test_a_site_over_several_rows(tmp_path: Path) -> None:
    parsed = read_rows(
        tmp_path,
        row(name="Alderbeck Library", model="HG-10", version="4.2.0"),
        SECOND,
        row(serials="HML-2EPWA2", model="HG-20", start="2026-03-12T18:00", tz="europe/london"),
        {"wave": "hollowmere-1", "site": "alderbeck", "serials": "HML-9KQ3TX"},
    )
    assert not parsed.problems
    assert [site.site for site in parsed.sites] == ["alderbeck", "birkenshade"]
    assert parsed.sites[0].name == "Alderbeck Library"
    units = [(unit.serial, unit.model, unit.version) for unit in parsed.sites[0].units]
    assert units == [("HML4F7K2Q", "HG-10", "4.2.0"), ("HML2EPWA2", "HG-20", None),
                     ("HML9KQ3TX", "", None)]  # fmt: skip


@pytest.mark.parametrize(
    ("key", "column", "one", "other"),
    [("contact", "contact", "U0101", "U0102"), ("start", "start", "2026-03-12 18:00",
                                                "2026-03-12 19:00"),
     ("address", "address", "1 Mill Lane", "2 Mill Lane"),
     ("networks", "networks", "192.0.2.0/28", "192.0.2.16/28"),
     ("tz", "time zone", "Europe/London", "Europe/Dublin")],
)  # fmt: skip
def test_rows_of_a_site_that_disagree(
    tmp_path: Path, key: str, column: str, one: str, other: str
) -> None:
    parsed = read_rows(
        tmp_path, row(**{key: one}), SECOND, row(serials="HML-2EPWA2", **{key: other})
    )
    expect(
        only(parsed.problems),
        4,
        column,
        other,
        f"differs from '{one}' on line 2",
        "write the same in both rows",
    )
    assert [site.site for site in parsed.sites] == ["birkenshade"]
    assert (parsed.rows, parsed.skipped) == (3, 2)


def test_one_bad_row_leaves_out_the_whole_site(tmp_path: Path) -> None:
    parsed = read_rows(tmp_path, row(), row(serials="?"), SECOND)
    expect(only(parsed.problems), 3, "serials", "?", "not a list of serials", "copy the serials")
    assert [site.site for site in parsed.sites] == ["birkenshade"]
    assert parsed.skipped == 2


def test_a_refused_cell_in_a_later_row_leaves_out_the_whole_site(tmp_path: Path) -> None:
    parsed = read_rows(tmp_path, row(), row(serials="HML-2EPWA2", access="a\x07"), SECOND)
    expect(only(parsed.problems), 3, "access", "a\x07", "control character", "type it again")
    assert [site.site for site in parsed.sites] == ["birkenshade"]


def test_a_row_of_a_site_without_serial(tmp_path: Path) -> None:
    parsed = read_rows(tmp_path, row(), row(serials=None))
    expect(only(parsed.problems), 3, "serials", "", "no value is given", "fill in")


def test_models_and_versions_for_each_serial(tmp_path: Path) -> None:
    site = read_rows(
        tmp_path,
        row(serials="HML-4F7K2Q HML-2EPWA2", model="HG-10; HG-20", version="4.2.0;"),
    ).sites[0]
    assert [(u.model, u.version) for u in site.units] == [("HG-10", "4.2.0"), ("HG-20", None)]


def test_one_model_for_all_serials(tmp_path: Path) -> None:
    site = read_rows(tmp_path, row(serials="HML-4F7K2Q,HML-2EPWA2", model="HG-10")).sites[0]
    assert [unit.model for unit in site.units] == ["HG-10", "HG-10"]


@pytest.mark.parametrize(
    "spelling", ["HML-4F7K2Q", "hml4f7k2q", "S/N: HML 4F7K2Q".replace(" 4", "4")]
)
def test_a_serial_that_stands_twice(tmp_path: Path, spelling: str) -> None:
    parsed = read_rows(tmp_path, row(), SECOND, row(site="c", serials=spelling))
    problem = only(parsed.problems)
    assert (problem.line, problem.column) == (4, "serials")
    assert "on line 4 and on line 2 (site 'alderbeck')" in problem.what
    assert "correct or remove the other" in problem.remedy
    assert [site.site for site in parsed.sites] == ["birkenshade"]
    assert parsed.skipped == 2


def test_a_serial_twice_in_one_cell(tmp_path: Path) -> None:
    parsed = read_rows(tmp_path, row(serials="HML-4F7K2Q; HML-4F7K2Q"))
    expect(
        only(parsed.problems), 2, "serials", "HML-4F7K2Q", "twice on line 2", "correct or remove"
    )


@pytest.mark.parametrize(("key", "other"), [("wave", "Hollowmere-1"), ("site", "Alderbeck")])
def test_ids_that_differ_only_in_capitals(tmp_path: Path, key: str, other: str) -> None:
    parsed = read_rows(tmp_path, row(), SECOND | {key: other})
    first = row()[key]
    expect(
        only(parsed.problems),
        3,
        key,
        other,
        f"differs only in capitals from '{first}' on line 2",
        "write both the same",
    )
    assert parsed.sites == []


def test_one_site_in_two_waves(tmp_path: Path) -> None:
    parsed = read_rows(tmp_path, row(), row(wave="hollowmere-2", serials="HML-2EPWA2"))
    assert [(site.wave, site.site) for site in parsed.sites] == [
        ("hollowmere-1", "alderbeck"), ("hollowmere-2", "alderbeck"),
    ]  # fmt: skip


def test_people(tmp_path: Path) -> None:
    site = read_rows(
        tmp_path,
        row(contact_name="Ada Brightwell", contact_lang="pt-BR", contact_mobile="07700 900101",
            deputy="U0201", deputy_name="Bran Okoro"),
    ).sites[0]  # fmt: skip
    assert site.contact == PersonRow(
        user="U0101", lang="pt-BR", name="Ada Brightwell", mobile="07700 900101"
    )
    assert site.deputy == PersonRow(user="U0201", name="Bran Okoro")


def test_a_deputy_described_but_not_named(tmp_path: Path) -> None:
    parsed = read_rows(tmp_path, row(deputy_mobile="07700 900201"))
    expect(
        only(parsed.problems),
        2,
        "deputy mobile",
        "07700 900201",
        "is given, but no deputy",
        "fill in the column 'deputy'",
    )


def test_a_deputy_who_is_the_contact_is_a_note(tmp_path: Path) -> None:
    parsed = read_rows(tmp_path, row(deputy="U0101"))
    assert len(parsed.sites) == 1
    expect(only(parsed.notes), 2, "deputy", "U0101", "is the contact as well", "another person")


def test_one_user_under_two_names_is_a_note(tmp_path: Path) -> None:
    parsed = read_rows(
        tmp_path,
        row(contact_name="Ada Brightwell"),
        SECOND | {"contact": "U0101", "contact_name": "Owen Garthick"},
    )
    assert len(parsed.sites) == 2
    expect(
        only(parsed.notes),
        3,
        "contact",
        "U0101",
        "is called 'Owen Garthick' here and 'Ada Brightwell' on line 2",
        "belongs to this person",
    )


@pytest.mark.parametrize(
    ("one", "other", "shown"),
    [("192.0.2.0/24", "192.0.2.16/28", "192.0.2.16/28"),
     ("192.0.2.0/28", "192.0.2.0/28", "192.0.2.0/28"),
     ("2001:db8::/32", "2001:db8:7::/48", "2001:db8:7::/48")],
)  # fmt: skip
def test_ranges_that_two_sites_share_are_a_note(
    tmp_path: Path, one: str, other: str, shown: str
) -> None:
    parsed = read_rows(tmp_path, row(networks=one), SECOND | {"networks": other})
    assert len(parsed.sites) == 2
    expect(
        only(parsed.notes),
        3,
        "networks",
        shown,
        f"overlaps {one} of site 'alderbeck' on line 2",
        "check both",
    )


def test_ranges_side_by_side_or_of_one_site_are_no_matter(tmp_path: Path) -> None:
    parsed = read_rows(
        tmp_path,
        row(networks="192.0.2.0/28 192.0.2.0/29"),
        SECOND | {"networks": "192.0.2.16/28 2001:db8::/32"},
        row(site="c", serials="HML-9KQ3TX", contact="U0103", networks="no range"),
    )
    assert not parsed.notes
    assert only(parsed.problems).column == "networks"


def test_every_problem_of_a_row_is_said_and_in_the_order_of_the_lines(tmp_path: Path) -> None:
    parsed = read_rows(
        tmp_path, row(), row(site="b", tz="Mars", contact="ada", serials="?"), row(site="c d")
    )
    assert [(p.line, p.column) for p in parsed.problems] == [
        (3, "time zone"), (3, "contact"), (3, "serials"), (4, "site"),
    ]  # fmt: skip
    assert (parsed.rows, parsed.skipped, len(parsed.sites)) == (3, 2, 1)


def test_progress_ends_at_the_number_of_rows(tmp_path: Path) -> None:
    seen: list[tuple[int, int]] = []
    rows = [row(site=f"s{n}", serials=f"HML-{n:06}") for n in range(600)]
    parsed = read_rows(tmp_path, *rows, progress=lambda done, total: seen.append((done, total)))
    assert len(parsed.sites) == 600
    assert [step for step in seen if step[1] == 0] == [(250, 0), (500, 0)]
    assert [step for step in seen if step[1]] == [(250, 600), (500, 600), (600, 600)]


def test_a_problem_is_one_sentence_safe_for_a_terminal() -> None:
    problem = Problem(3, "name", "a\x1b[2Jb" + "c" * 100, "is odd", "change it")
    text = str(problem)
    assert text.startswith("line 3, column 'name': 'a\\x1b[2Jbccc")
    assert text.endswith("…' is odd; change it.")
    assert text.isprintable()
    assert (
        str(Problem(0, "", "", "nothing is there", "add a row")) == "nothing is there; add a row."
    )


def test_a_wide_range_is_remembered_past_a_narrow_one(tmp_path: Path) -> None:
    parsed = read_rows(
        tmp_path,
        row(networks="192.0.2.0/24"),
        SECOND | {"networks": "192.0.2.0/28"},
        row(site="c", serials="HML-9KQ3TX", contact="U0103", networks="192.0.2.64/28"),
    )
    assert [(note.line, note.value) for note in parsed.notes] == [
        (3, "192.0.2.0/28"), (4, "192.0.2.64/28"),
    ]  # fmt: skip
    assert "overlaps 192.0.2.0/24 of site 'alderbeck'" in parsed.notes[1].what
