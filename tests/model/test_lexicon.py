"""Lexicons: validated data, one file for each language, and a second language needs no code."""

from pathlib import Path

import pytest
import yaml
from pydantic import ValidationError

from bot.model.danger import find
from bot.model.phrases import Phrases
from bot.speak import lexicon as loading
from bot.speak.lexicon import every_lexicon, languages, lexicon, load

EN = Path(loading.__file__).parent / "en"
FILES = ("words.yaml", "danger.yaml")


def test_english_is_there() -> None:
    assert "en" in languages()
    assert lexicon("en").name == "English"
    assert [each.language for each in every_lexicon()] == list(languages())


def test_an_unknown_language_is_no_guess() -> None:
    with pytest.raises(KeyError):
        lexicon("xx")


def changed(tmp_path: Path, **changes: object) -> Path:
    """A folder with the English files and these changes, each where its key stands."""
    data = {name: yaml.load((EN / name).read_bytes(), yaml.BaseLoader) for name in FILES}
    for key, value in changes.items():
        name = next((name for name in FILES if key in data[name]), FILES[0])
        data[name][key] = value
    for name in FILES:
        (tmp_path / name).write_text(yaml.safe_dump(data[name]), encoding="utf-8")
    return tmp_path


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"danger": {"smoke": ["smoke"]}}, "no words for sparks"),
        ({"meanings": {"stop": {"alone": ["stop"]}}}, "help is missing"),
        ({"fillers": ["~ ok"]}, "needs a word at each end"),
        ({"fillers": ["*ok"]}, "a star stands behind one word"),
        ({"numbers": {"one": "first"}}, "valid number"),
        ({"colours": {"blue": ["blue"]}}, "'white', 'green', 'yellow' or 'red'"),
        ({"smells": ["bad"]}, "Extra inputs"),
        ({"language": "English!"}, "match pattern"),
    ],
)
def test_a_broken_file_is_refused(tmp_path: Path, changes: dict[str, object], says: str) -> None:
    with pytest.raises(ValidationError, match=says):
        load(changed(tmp_path, **changes))


def test_a_second_language_needs_no_code(tmp_path: Path) -> None:
    # A made-up language: the same shape, other words.
    other = load(
        changed(
            tmp_path,
            language="qaa",
            name="Made up",
            danger={rule: [f"zz{rule[::-1]}"] for rule in lexicon("en").danger},
            not_danger=["zzekoms break"],
            plain=[],
        )
    )
    both = (lexicon("en"), other)
    assert find("zzekoms", both) is not None
    assert find("zzekosm", both) is not None
    assert find("smoke", both) is not None
    assert find("zzekoms break", both) is None
    assert find("zzekoms", both[:1]) is None


def test_a_word_of_one_language_is_no_misspelling_in_another(tmp_path: Path) -> None:
    # "later" is an English word; one letter from a word of danger of the other language.
    danger = {**lexicon("en").danger, "fire": ("latar",)}
    other = load(
        changed(tmp_path, language="qaa", danger=danger, plain=[], later=["zz"], meanings=quiet())
    )
    assert find("latre", (other,)) is None
    assert find("latra", (other,)) is not None
    assert find("later", (lexicon("en"), other)) is None


def test_both_files_may_list_misspellings_and_plain_words(tmp_path: Path) -> None:
    folder = changed(tmp_path)
    for name, word in zip(FILES, ("qone", "qtwo"), strict=True):
        data = yaml.load((folder / name).read_bytes(), yaml.BaseLoader)
        data["plain"] = [word]
        data["misspelt"] = {"smoke": [f"zz{word}"]}
        (folder / name).write_text(yaml.safe_dump(data), encoding="utf-8")
    merged = load(folder)
    assert merged.plain == ("qone", "qtwo")
    assert merged.misspelt == {"smoke": ("zzqone", "zzqtwo")}


def quiet() -> dict[str, dict[str, list[str]]]:
    return {meaning: {} for meaning in lexicon("en").meanings}


@pytest.mark.parametrize(
    ("phrase", "words", "found"),
    [
        ("stop", "please stop now", True),
        ("stop", "stopped", False),
        ("stop*", "it stopped", True),
        ("*stop*", "nonstopping", True),
        ("turn ~ off", "turn it off", True),
        ("turn ~ off", "turn the new box off", True),
        ("turn ~ off", "turn off", True),
        ("turn ~ off", "turn the big new box off", False),
        ("# min*", "20 minutes", True),
        ("# min*", "twenty mins", True),
        ("# min*", "some minutes", False),
        ("blinking", "blinkign", True),
        ("blinking", "blinkin", True),
        ("blinking", "blinnkkng", False),
        ("stop", "sotp", True),  # neighbours swapped
        ("stop", "shop", False),  # a short word, another letter: another word
        ("no", "on", False),
    ],
)
def test_phrases(phrase: str, words: str, *, found: bool) -> None:
    ready = Phrases({"it": (phrase,)}, numbers={"twenty": 20})
    assert bool(ready.find(words.split())) is found


def test_a_phrase_gives_its_numbers() -> None:
    ready = Phrases({"rate": ("# ~ in ~ # sec*",)}, numbers={"twice": 2, "five": 5})
    assert ready.find(["twice", "in", "about", "five", "seconds"])[0].numbers == (2, 5)
