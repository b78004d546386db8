"""People of a site without a chat account: a mail address stands in, and they answer on a page."""

from pathlib import Path

import pytest

from bot.plan import listing
from bot.plan.importer import parse

HEAD = "wave,site,time zone,contact,contact mail,deputy,deputy mail,serials,start\n"


def parsed(tmp_path: Path, row: str, head: str = HEAD) -> "tuple[list[str], list[str]]":
    path = tmp_path / "sites.csv"
    path.write_text(head + row + "\n", encoding="utf-8")
    found = parse(path)
    people = [
        f"{person.user} {person.mail}".strip()
        for site in found.sites
        for person in (site.contact, site.deputy)
        if person is not None
    ]
    return people, [str(problem) for problem in found.problems]


def test_a_mail_address_alone_will_do(tmp_path: Path) -> None:
    row = "w,alderbeck,UTC,,ada@example.org,,bran@example.org,HML-4F7K2Q,2026-03-12 18:00"
    people, problems = parsed(tmp_path, row)
    assert problems == []
    assert people == ["page:alderbeck ada@example.org", "page:alderbeck:deputy bran@example.org"]


def test_a_chat_account_comes_first(tmp_path: Path) -> None:
    row = "w,alderbeck,UTC,U0101,ada@example.org,,,HML-4F7K2Q,2026-03-12 18:00"
    assert parsed(tmp_path, row) == (["U0101 ada@example.org"], [])


def test_one_of_the_two_is_needed(tmp_path: Path) -> None:
    row = "w,alderbeck,UTC,,,,,HML-4F7K2Q,2026-03-12 18:00"
    people, problems = parsed(tmp_path, row)
    assert people == []
    assert len(problems) == 1
    assert "contact" in problems[0]
    assert "no value is given" in problems[0]


def test_a_list_without_either_column_says_so(tmp_path: Path) -> None:
    head = "wave,site,time zone,serials,start\n"
    _, problems = parsed(tmp_path, "w,alderbeck,UTC,HML-4F7K2Q,2026-03-12 18:00", head)
    assert "this required column is missing" in problems[0]


@pytest.mark.parametrize("wrong", ["ada", "ada@", "@example.org", "a b@example.org", "a@host"])
def test_what_is_no_address_is_refused(tmp_path: Path, wrong: str) -> None:
    row = f"w,alderbeck,UTC,,{wrong},,,HML-4F7K2Q,2026-03-12 18:00"
    people, problems = parsed(tmp_path, row)
    assert people == []
    assert len(problems) == 1
    assert "is no mail address" in problems[0]


def test_it_is_written_and_read_back(tmp_path: Path) -> None:
    path = tmp_path / "one.csv"
    row = "w,alderbeck,UTC,,ada@example.org,,,HML-4F7K2Q,2026-03-12 18:00"
    path.write_text(HEAD + row + "\n", encoding="utf-8")
    sites = parse(path).sites
    again = tmp_path / "two.csv"
    listing.write(again, sites)
    assert parse(again).sites == sites
