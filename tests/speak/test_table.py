"""The table of all messages: every text is in it, as it stands in the thread."""

from pathlib import Path

import pytest

from bot.speak.catalogue import check, standard
from tests.speak import samples
from tests.speak.table import as_html, as_text, groups, main

LANGUAGES = standard().languages()


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_text_is_in_it_once(language: str) -> None:
    shown = [row.key for _, rows in groups(language) for row in rows]
    assert sorted(shown) == sorted(standard().texts(language).own)
    assert "under no heading" not in [title for title, _ in groups(language)]


@pytest.mark.parametrize("language", LANGUAGES)
def test_nothing_in_it_is_left_unfilled(language: str) -> None:
    for _, rows in groups(language):
        for row in rows:
            assert "{" not in row.text, row.key
            assert "@x:" not in row.text, row.key


def test_a_question_stands_with_its_buttons() -> None:
    text = as_text("en")
    assert "[Yes, that is fine] [Another time] [No, thank you]" in text
    assert "[Green, steady]" in text
    assert "grade" in text
    assert "[Ja, das passt]" in as_text("de")


def test_it_can_be_written_as_a_page(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    page = tmp_path / "texts.html"
    assert main(["--language", "de", "--html", str(page)]) == 0
    written = page.read_text(encoding="utf-8")
    assert written.startswith('<!doctype html><html lang="de">')
    assert all(f"<td>{key}<" in written for key in standard().texts("de").own)
    assert as_html("de") == written
    assert main(["--html", str(tmp_path / "none" / "x.html")]) == 1
    assert "cannot be written" in capsys.readouterr().err


def test_every_kind_of_text_is_known() -> None:
    assert {samples.kind(key) for key in standard().texts("en").own} == {
        "contact",
        "team",
        "label",
        "words",
    }


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_catalogue_is_complete(language: str) -> None:
    assert check(language) == []
