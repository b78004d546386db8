"""What the reader knows is there in every language, and our own buttons are understood as words."""

from functools import cache
from pathlib import Path
from typing import Any

import pytest
import yaml

from bot.model.reader import read
from bot.model.reading import Heard, Reading
from bot.speak import lexicon as loading
from bot.speak.catalogue import REFERENCE, standard
from bot.speak.lexicon import DANGER, WORDS, every_lexicon, languages, lexicon
from tests.speak import samples

LANGUAGES = languages()
OTHERS = [language for language in LANGUAGES if language != REFERENCE]
#: What depends on how a language is built: it may be left out.
_OWN_WAY = frozenset(
    {"folds", "tells", "whole", "plain", "misspelt", "negates_after", "own", "in_question"}
)
#: What one language must say for itself in each group: that the group is there is enough.
_BY_NAME = frozenset({"when"})


@cache
def file(language: str, name: str) -> dict[str, Any]:
    path = Path(loading.__file__).parent / language / name
    found: dict[str, Any] = yaml.load(path.read_bytes(), yaml.BaseLoader)
    return found


def test_who_is_written_to_in_a_language_is_understood_in_it() -> None:
    assert list(LANGUAGES) == standard().languages()


@pytest.mark.parametrize("language", OTHERS)
@pytest.mark.parametrize("name", [WORDS, DANGER])
def test_every_group_of_words_is_there(language: str, name: str) -> None:
    assert list(_lacking(file(REFERENCE, name), file(language, name), _OWN_WAY)) == []


def _lacking(reference: Any, other: Any, optional: frozenset[str] = frozenset()) -> list[str]:
    """Groups of the reference that are missing or empty; numbers and times are words as well."""
    if not isinstance(reference, dict) or _free(reference):
        return [] if other or not reference else ["is empty"]
    found: list[str] = []
    for key, value in reference.items():
        if key in optional:
            continue
        if key not in other:
            found.append(f"{key} is missing")
        elif key in _BY_NAME:
            found += [f"{key}: {name} is missing" for name in value if name not in other[key]]
        else:
            found += [f"{key}: {what}" for what in _lacking(value, other[key])]
    return found


def _free(group: dict[str, Any]) -> bool:
    """Whether the keys are words of the language themselves (numbers, spans of time)."""
    return all(isinstance(value, str) for value in group.values())


def test_a_group_that_is_missing_is_found() -> None:
    whole = {"a": ["x"], "b": {"c": ["x"], "d": ["x"]}, "numbers": {"one": "1"}, "tells": ["x"]}
    part = {"a": [], "b": {"c": ["y"]}, "numbers": {"eins": "1"}}
    assert _lacking(whole, part, _OWN_WAY) == ["a: is empty", "b: d is missing"]
    assert _lacking(whole, whole) == []


@pytest.mark.parametrize("language", OTHERS)
def test_as_much_is_known_as_of_the_reference(language: str) -> None:
    """A language that knows far fewer words of a meaning would ask back far more often."""
    reference, other = lexicon(REFERENCE).meanings, lexicon(language).meanings
    for meaning, said in reference.items():
        count = len(said.alone) + len(said.within)
        found = len(other[meaning].alone) + len(other[meaning].within)
        assert found >= count / 4, meaning


# --- our own buttons, typed --------------------------------------------------------------

#: By the label's key: the question below which it stands, and what it must be read as.
_BUTTONS: dict[str, tuple[Heard, str]] = {
    "b_yes": (Heard(stage="invitation", ask="consent"), "yes"),
    "b_other_time": (Heard(stage="invitation", ask="consent"), "no"),
    "b_no": (Heard(stage="invitation", ask="consent"), "no"),
    "b_here": (Heard(stage="begin", ask="begin"), "yes"),
    "b_later": (Heard(stage="begin", ask="begin"), "later"),
    "b_not_tonight": (Heard(stage="begin", ask="begin"), "no"),
    "b_done": (Heard(stage="cabling", ask="confirm"), "done"),
    "b_no_signal": (Heard(stage="mobile_data", ask="mobile"), "no_signal"),
    "b_same": (Heard(stage="inventory", ask="serial"), "yes"),
    "b_different": (Heard(stage="inventory", ask="serial"), "no"),
    "b_help": (Heard(stage="cabling", ask="confirm"), "help"),
    "b_more10": (Heard(stage="cabling", ask="confirm"), "later"),
    "b_more20": (Heard(stage="cabling", ask="confirm"), "later"),
    "b_other_evening": (Heard(stage="begin", ask="begin"), "no"),
}
_LIGHTS = {pattern.means: name for name, pattern in samples.book().patterns.items()}
_LEADS = ("lead_one", "lead_two", "lead_missing")


def typed(key: str, heard: Heard, language: str) -> Reading:
    """The worst of what is read when somebody types a button's label."""
    said = samples.texts(language).say(key, {})
    return read(said, heard, samples.book(), lexicon(language), dangers=every_lexicon())[0]


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("key", _BUTTONS)
def test_a_label_that_is_typed_means_what_the_button_means(language: str, key: str) -> None:
    heard, kind = _BUTTONS[key]
    reading = typed(key, heard, language)
    assert (reading.kind, reading.ask if kind != "later" else "") == (kind, "")


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("key", _LIGHTS)
@pytest.mark.parametrize("stage", ["loading", "registry"])
def test_a_light_that_is_typed_as_on_its_button(language: str, key: str, stage: str) -> None:
    reading = typed(key, Heard(stage=stage, ask="light"), language)
    assert (reading.kind, reading.pattern, reading.ask) == ("light", _LIGHTS[key], "")


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("answer", _LEADS)
def test_a_choice_that_is_typed_as_on_its_button(language: str, answer: str) -> None:
    heard = Heard(stage="inventory", ask="choice", answers=_LEADS)
    reading = typed(f"b_{answer}", heard, language)
    assert (reading.kind, reading.value, reading.ask) == ("choice", answer, "")


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("answer", ["go_on", "stop_tonight"])
def test_going_on_or_stopping_as_on_its_button(language: str, answer: str) -> None:
    heard = Heard(stage="cabling", ask="choice", answers=("go_on", "stop_tonight"))
    reading = typed(f"b_{answer}", heard, language)
    assert (reading.kind, reading.value) in {("choice", answer), ("stop", "")}
