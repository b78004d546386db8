"""What is said to contacts: short, one thing to do, no word of the trade, easily read.

In every language there is. Which texts these are is said in ``samples.py``; how grades are
reckoned, and by whom, in ``grades.py``.
"""

import re
from functools import cache
from pathlib import Path

import pytest

from bot.speak.catalogue import standard
from tests.speak import samples
from tests.speak.grades import FORMULAS, grade
from tests.speak.table import plain

LONGEST = 300
HARDEST = 6.0
LANGUAGES = standard().languages()
CONTACT = samples.of_kind("contact")
EACH = [(language, key) for language in LANGUAGES for key in CONTACT]
HERE = Path(__file__).parent
#: How a language tells somebody to press a button.
PRESS = {"en": r"\bpress\b(?! the (cable|power))", "de": r"\bdrücken Sie\b(?! das)"}
#: Starred words that are no button: printed on a label, or to be written as they stand.
STARRED = {"en": {"SW", "help", "not", "stop"}, "de": {"SW", "Hilfe", "nicht", "Stopp"}}


def name(one: tuple[str, str]) -> str:
    return "-".join(one)


@cache
def longest(language: str, key: str) -> str:
    return samples.rendered(key, language, samples.longest())


@pytest.mark.parametrize("each", EACH, ids=name)
def test_it_fits_a_glance_with_the_longest_names(each: tuple[str, str]) -> None:
    text = longest(*each)
    assert len(text) <= LONGEST, text


@pytest.mark.parametrize("each", EACH, ids=name)
def test_it_asks_one_thing(each: tuple[str, str]) -> None:
    """At most one question, and at most one request to press a button."""
    language, key = each
    text = re.sub(r"https://\S+", "", longest(language, key))
    assert text.count("?") <= 1, text
    assert len(re.findall(PRESS[language], text, re.IGNORECASE)) <= 1, text


@pytest.mark.parametrize("each", EACH, ids=name)
def test_a_button_that_is_named_is_there(each: tuple[str, str]) -> None:
    language, key = each
    given = {samples.USUAL["serial"], samples.USUAL["site"]}
    named = set(re.findall(r"\*([^*]+)\*", samples.rendered(key, language)))
    offered = samples.buttons(key, language)
    assert named - given - STARRED[language] <= set(offered), offered


@pytest.mark.parametrize("each", EACH, ids=name)
def test_no_word_of_the_trade(each: tuple[str, str]) -> None:
    language, key = each
    said = " ".join([plain(key, language), *samples.buttons(key, language)])
    assert trade_words(said, language) == []


def trade_words(text: str, language: str) -> list[str]:
    return [found[0] for found in _forbidden(language).finditer(text)]


@cache
def _forbidden(language: str) -> re.Pattern[str]:
    lines = (HERE / f"forbidden.{language}.txt").read_text(encoding="utf-8").splitlines()
    words = [line.strip() for line in lines if line.strip() and not line.startswith("#")]
    ways = [re.escape(word).replace(r"\*", r"\w*") for word in words]
    return re.compile(rf"(?<!\w)(?:{'|'.join(ways)})(?!\w)", re.IGNORECASE)


@pytest.mark.parametrize(
    ("text", "language", "found"),
    [
        ("Reboot the router.", "en", ["Reboot", "router"]),
        ("Important: a report.", "en", []),
        ("Der Router bootet", "de", ["Router", "bootet"]),
        ("Das Boot", "de", ["Boot"]),
        ("Import, Transport", "de", []),
    ],
)
def test_the_list_of_trade_words_is_looked_for_as_words(
    text: str, language: str, found: list[str]
) -> None:
    assert trade_words(text, language) == found


@pytest.mark.parametrize("each", EACH, ids=name)
def test_it_is_easily_read(each: tuple[str, str]) -> None:
    language, key = each
    text = plain(key, language)
    assert grade(text, language) <= HARDEST, text


def test_every_language_can_be_judged() -> None:
    """A language needs a formula, a list of trade words and its way to name a button."""
    for language in LANGUAGES:
        assert language in FORMULAS
        assert language in PRESS
        assert language in STARRED
        assert _forbidden(language).pattern


def test_what_the_model_says_to_a_contact_is_held_to_these_rules() -> None:
    """Every text the visit's code names when it speaks to the site, and every runbook's ask."""
    visit = HERE.parents[1] / "bot" / "model" / "visit"
    speaks = re.compile(
        r"\b(?:say|prompt|raise_and_say|say_to|ask_own)\((?:\s*(?:turn|deputy|question|person),)*"
        r"\s*(?:\"[a-z_]+\",\s*)?\"(?P<key>[a-z_]+)\""
    )
    named = {
        found["key"]
        for path in sorted(visit.glob("*.py"))
        for found in speaks.finditer(path.read_text(encoding="utf-8"))
    }
    named |= {ask.text for stage in samples.book().stages for ask in stage.asks}
    named |= {ask.nudge or ask.text for stage in samples.book().stages for ask in stage.asks}
    assert len(named) > 60
    known = set(samples.texts("en").own)
    assert sorted((named & known) - set(CONTACT) - set(samples._OWN)) == []


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_names_of_parts_are_there_in_every_language(language: str) -> None:
    words = samples.book().words
    assert words.get(language, {}).keys() == words["en"].keys()
    assert all(words[language].values())


def test_german_names_of_parts_stand_in_the_first_and_in_the_fourth_case() -> None:
    """The texts put them in both places; with "das" and "die" the two are alike."""
    assert all(value.startswith(("das ", "die ")) for value in samples.book().words["de"].values())


def test_no_german_text_puts_a_part_into_the_third_case() -> None:
    """No preposition that asks for it stands before a part: "mit das neue Gerät" is wrong."""
    third = re.compile(
        r"\b(?:ab|aus|außer|bei|gegenüber|mit|nach|seit|von|zu|am|beim|im|vom|zum)"
        r" \{(?:unit|light|port|socket|label)\}",
        re.IGNORECASE,
    )
    raw = samples.texts("de").raw
    assert [key for key, text in raw.items() if third.search(text)] == []
