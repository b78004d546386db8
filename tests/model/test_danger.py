"""Words of danger: what must stop, what must not, denied, hidden and in any length.

Misspellings and the corpora: ``test_danger_beside.py``; figures: ``danger_figures.py``.
"""

import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.model.danger import Danger, find
from bot.model.lexicon import Rule
from bot.model.tokens import LONGEST
from bot.speak.lexicon import every_lexicon, languages
from tests.model.danger_lines import LANGUAGES, lines

LEXICONS = every_lexicon()
SPOKEN = [language for language in LANGUAGES if language in languages()]
STOPS = [line for language in SPOKEN for line in lines(f"stops.{language}")]
NOT = [line for language in SPOKEN for line in lines(f"not.{language}")]


@pytest.mark.parametrize("words", STOPS)
def test_stops(words: str) -> None:
    found = find(words, LEXICONS)
    assert found is not None
    assert found.stance != "denied"


@pytest.mark.parametrize("words", NOT)
def test_does_not_stop(words: str) -> None:
    """In all languages together: none of them is tripped by the words of another."""
    assert find(words, LEXICONS) is None


@pytest.mark.parametrize("rule", Rule.__args__)  # type: ignore[attr-defined]
@pytest.mark.parametrize("language", SPOKEN)
def test_every_rule_is_met_by_a_line(language: str, rule: str) -> None:
    every = (find(words, LEXICONS) for words in lines(f"stops.{language}"))
    assert rule in {danger.rule for danger in every if danger}


@pytest.mark.parametrize(
    ("words", "rule", "found", "stance"),
    [
        ("there is smoke", "smoke", "smoke", "said"),
        ("too hot to touch", "heat", "hot", "said"),
        ("the alarm is going off", "alarm", "alarm is going off", "said"),
        ("got a shokc", "shock", "shokc", "said"),
        # Denied: asked once, for a denial alone dismisses nothing.
        ("no smoke here", "smoke", "smoke", "denied"),
        ("there isn't any smoke", "smoke", "smoke", "denied"),
        ("I don't see any sparks", "sparks", "sparks", "denied"),
        ("no smoke or sparks", "smoke", "smoke", "denied"),
        ("not burning", "burning", "burning", "denied"),
        ("nobody is hurt", "injury", "hurt", "denied"),
        ("it is not hot", "heat", "hot", "denied"),
        # A denial that does not reach: the danger is said.
        ("no, smoke!", "smoke", "smoke", "said"),
        ("no fire but smoke", "smoke", "smoke", "said"),
        ("I am not joking there is smoke", "smoke", "smoke", "said"),
        ("not only smoke", "smoke", "smoke", "said"),
        ("no more smoke", "smoke", "smoke", "said"),
        ("no longer smoking", "smoke", "smoking", "said"),
        ("no idea where the smoke is from", "smoke", "smoke", "said"),
        ("no smoke. wait, sparks", "sparks", "sparks", "said"),
        # Enquiries, as on-call makes them.
        ("any smoke?", "smoke", "smoke", "asked"),
        ("Is there any smoke or fire?", "smoke", "smoke", "asked"),
        ("do you smell burning?", "burning", "smell", "asked"),
        ("any smoke", "smoke", "smoke", "said"),  # no question mark: in doubt it is danger
        ("is that smoke?", "smoke", "smoke", "said"),
        ("smoke?", "smoke", "smoke", "said"),
        ("no there is smoke", "smoke", "smoke", "said"),
        ("nothing hot", "heat", "hot", "denied"),
        ("no gas in here", "gas", "gas", "denied"),  # both languages know gas, one the no
    ],
)
def test_rule_word_and_stance(words: str, rule: str, found: str, stance: str) -> None:
    danger = find(words, LEXICONS)
    assert danger is not None
    assert (danger.rule, danger.stance) == (rule, stance)
    assert danger.word == found or found in danger.word


@pytest.mark.parametrize(
    "words",
    [
        "\uff33\uff2d\uff2f\uff2b\uff25",  # full width
        "smo\u200bke",  # a zero-width blank
        "sm\u00adoke",  # a soft hyphen
        "s\u0336m\u0336o\u0336k\u0336e\u0336",  # struck through
        "smöke",
        "*smoke*",
        "_smoke_",
        "~smoke~",
        "&gt; smoke",
        "<https://example.org|smoke>",
        "<@U024BE7LH> smoke",
        "ok\nsmoke",
        "s.m.o.k.e",
        "smoooooke",
        "🔥",
        "🔥\ufe0f",
        "blah " * 7000 + "smoke",
        "ok。smoke",
        "לא ידוע smoke",
    ],
)
def test_found_however_it_is_written(words: str) -> None:
    assert find(words, LEXICONS) is not None


def test_an_excuse_reaches_no_further_than_its_own_words() -> None:
    assert find("going out for a smoke", LEXICONS) is None
    assert find("going out for a smoke, sparks everywhere", LEXICONS) is not None
    assert find("fire, door stuck", LEXICONS) is not None


@pytest.mark.skipif("de" not in languages(), reason="needs the German words")
@pytest.mark.parametrize(
    ("words", "stance"),
    [
        ("kein Rauch", "denied"),
        ("es raucht nicht", "denied"),
        ("es raucht hier nichts", "denied"),
        ("keine Funken und kein Rauch", "denied"),
        ("es riecht nicht", "denied"),
        ("niemand ist verletzt", "denied"),
        ("es riecht nicht gut", "said"),
        ("es raucht nicht mehr", "said"),
        ("nicht nur Rauch", "said"),
        ("nein, Rauch", "said"),
        ("keine Luft mehr", "said"),
        ("gibt es Rauch?", "asked"),
        ("riecht es verbrannt?", "asked"),
    ],
)
def test_stance_in_german(words: str, stance: str) -> None:
    found = find(words, LEXICONS)
    assert found is not None
    assert found.stance == stance


@pytest.mark.parametrize(
    ("words", "doubt"),
    [
        ("there is smoke", False),
        ("smoke?", True),
        ("might be smoke", True),
        ("I think I can smell something", True),
        ("bit warm?", True),
        ("smoke? yes there is smoke", False),
    ],
)
def test_doubt(words: str, doubt: bool) -> None:
    found = find(words, LEXICONS)
    assert found is not None
    assert found.doubt is doubt


@pytest.mark.skipif("de" not in languages(), reason="needs the German words")
@pytest.mark.parametrize(
    ("words", "spoken"),
    [
        ("there is smoke", ("en",)),
        ("da ist Rauch", ("de",)),
        ("Rauch, smoke!", ("de", "en")),
        ("gas", ("de", "en")),
        ("rauhc", ("de",)),
    ],
)
def test_it_says_in_which_languages(words: str, spoken: tuple[str, ...]) -> None:
    found = find(words, LEXICONS)
    assert found is not None
    assert sorted(found.languages) == sorted(spoken)


def test_a_word_of_its_own_is_no_misspelling() -> None:
    for words in ("later", "floor", "spare", "turned", "meeting", "wires", "stock"):
        assert find(words, LEXICONS) is None


# --- properties -----------------------------------------------------------------------------


@given(st.text())
def test_any_text_is_read(words: str) -> None:
    assert find(words, LEXICONS) is None or isinstance(find(words, LEXICONS), Danger)


@given(st.sampled_from(NOT), st.sampled_from(STOPS), st.sampled_from([". ", "! ", "\n", "; "]))
def test_a_danger_beside_anything_stops(harmless: str, danger: str, between: str) -> None:
    for words in (harmless + between + danger, danger + between + harmless):
        found = find(words, LEXICONS)
        assert found is not None
        assert found.stance != "denied"


@pytest.mark.parametrize("piece", ["smoke ", "no ", "a", "s ", "a. ", "<@", "alarm ", "fell "])
def test_time_grows_no_faster_than_the_text(piece: str) -> None:
    def took(length: int) -> float:
        words = (piece * length)[:length]
        best = float("inf")
        for _ in range(3):
            start = time.process_time()
            find(words, LEXICONS)
            best = min(best, time.process_time() - start)
        return best

    # Ten times the text; a quadratic way would take a hundred times as long.
    assert took(LONGEST) < 40 * took(LONGEST // 10) + 0.01


def test_what_lies_beyond_the_longest_text_is_not_read() -> None:
    assert find("x " * LONGEST + "smoke", LEXICONS) is None
