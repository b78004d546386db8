"""``musterline sheet``: a PDF for each site and language, or one sentence that says why not."""

from pathlib import Path

import pytest

from tests.commands.kit import HEADER, ROWS, SETTINGS, Folder, said, sites

PAGE = """
[page]
secret = "of the tests, of no use anywhere else"
base_url = "https://desk.example.org"
[sheet]
team_phone = "01632 960950"
"""


@pytest.fixture(scope="module")
def wave(tmp_path_factory: pytest.TempPathFactory) -> Folder:
    """A folder with settings and a wave of three sites; nothing of it is changed."""
    folder = Folder(tmp_path_factory.mktemp("sheets"))
    folder.settings(SETTINGS + PAGE)
    folder.write("sites.csv", sites())
    assert folder.run("import", "sites.csv").returncode == 0
    return folder


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_a_pdf_for_each_site_and_language(wave: Folder) -> None:
    done = wave.run("sheet", "-o", "all")
    assert done.returncode == 0, said(done)
    assert "Wrote 3 sheets for 3 sites to all." in said(done)
    assert names(wave.path / "all") == [
        "w1-alderbeck-en.pdf",
        "w1-ambermere-en.pdf",
        "w1-bexhollow-en.pdf",
    ]
    assert all(path.read_bytes()[:5] == b"%PDF-" for path in (wave.path / "all").iterdir())


def test_one_site_in_another_language(wave: Folder) -> None:
    done = wave.run("sheet", "--wave", "w1", "--site", "ambermere", "--lang", "de", "-o", "one")
    assert "Wrote 1 sheet for 1 site to one." in said(done)
    assert names(wave.path / "one") == ["w1-ambermere-de.pdf"]


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (("--lang", "xx"), 2, "There are no texts in xx; there are de, en."),
        (("--site", "nowhere"), 2, "There is no site nowhere."),
        (("--wave", "w9"), 2, "There is no wave w9."),
        (("-o", "sites.csv"), 2, "sites.csv: cannot be written"),
    ],
)
def test_what_cannot_be_done_is_one_sentence(
    wave: Folder, words: tuple[str, ...], code: int, says: str
) -> None:
    done = wave.run("sheet", *words)
    assert done.returncode == code
    assert says in said(done)


def test_without_the_libraries_it_says_how_to_get_them(wave: Folder) -> None:
    """A module of that name that cannot be loaded stands for one that was never installed."""
    folder = wave.path / "lacking" / "segno"
    folder.mkdir(parents=True)
    (folder / "__init__.py").write_text("raise ImportError\n", encoding="utf-8")
    from tests.commands.kit import TOP

    lacking = Folder(wave.path, {**wave.more, "PYTHONPATH": f"{folder.parent}:{TOP}"})
    done = lacking.run("sheet", "-o", "none")
    assert done.returncode == 2
    assert "sh deploy/setup plan" in said(done)
    assert not (wave.path / "none").exists()


def test_without_page_and_number_it_says_what_the_sheets_lack(tmp_path: Path) -> None:
    folder = Folder(tmp_path)
    folder.settings(SETTINGS)
    folder.write("sites.csv", "\n".join((HEADER, ROWS[0])) + "\n")
    assert folder.run("import", "sites.csv").returncode == 0
    done = folder.run("sheet")
    assert done.returncode == 0
    assert "no code and no link" in said(done)
    assert "sheet.team_phone" in said(done)
