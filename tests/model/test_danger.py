"""Words of danger: what must stop, what must not, misspelt, denied, hidden and in any length.

Run with ``-s`` to see the figures.
"""

import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.model.danger import Danger, find
from bot.model.lexicon import Lexicon, Rule
from bot.model.tokens import LONGEST
from bot.speak.lexicon import every_lexicon, lexicon

LEXICONS = every_lexicon()
HERE = Path(__file__).parent


def lines(name: str) -> list[str]:
    text = (HERE / name).read_text(encoding="utf-8")
    return [line for line in text.splitlines() if line and not line.startswith("# ")]


STOPS, NOT = lines("danger_stops.en.txt"), lines("danger_not.en.txt")


@pytest.mark.parametrize("words", STOPS)
def test_stops(words: str) -> None:
    found = find(words, LEXICONS)
    assert found is not None
    assert found.stance == "said"


@pytest.mark.parametrize("words", NOT)
def test_does_not_stop(words: str) -> None:
    assert find(words, LEXICONS) is None


@pytest.mark.parametrize("rule", Rule.__args__)  # type: ignore[attr-defined]
def test_every_rule_is_met_by_a_line(rule: str) -> None:
    found = {danger.rule for words in STOPS if (danger := find(words, LEXICONS))}
    assert rule in found


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


# --- misspellings ---------------------------------------------------------------------------
#
# The generator, for every single word of danger in the lexicon:
#   swap      two neighbouring letters change places               (words of 3 letters or more)
#   drop      one letter is missing                                (5 or more)
#   double    one letter stands twice                              (5 or more)
#   slip      one letter is that of a neighbouring key (QWERTY)    (5 or more)
# Left out are results that are words of their own, as "fallen" gives "fallen": what the lexicon
# itself knows under another meaning or lists as plain.

KEYS = ("qwertyuiop", "asdfghjkl", "zxcvbnm")
BESIDE = {
    key: {row[i + step] for step in (-1, 1) if 0 <= i + step < len(row)}
    for row in KEYS
    for i, key in enumerate(row)
}


def misspellings(word: str) -> Iterator[tuple[str, str]]:
    for i in range(len(word) - 1):
        yield "swap", word[:i] + word[i + 1] + word[i] + word[i + 2 :]
    if len(word) < 5:
        return
    for i, letter in enumerate(word):
        yield "drop", word[:i] + word[i + 1 :]
        yield "double", word[:i] + letter + word[i:]
        for key in sorted(BESIDE.get(letter, ())):
            yield "slip", word[:i] + key + word[i + 1 :]


def generated(words: Lexicon) -> Iterator[tuple[str, str, str]]:
    single = {
        phrase
        for listed in words.danger.values()
        for phrase in listed
        if phrase.isascii() and phrase.isalpha() and len(phrase) >= 3
    }
    for word in sorted(single):
        for how, wrong in misspellings(word):
            if wrong != word and wrong not in words.known:
                yield how, word, wrong


def test_misspellings_still_stop(capsys: pytest.CaptureFixture[str]) -> None:
    made = list(generated(lexicon("en")))
    missed = [case for case in made if find(f"there is {case[2]} here", LEXICONS) is None]
    kinds = {
        how: sum(case[0] == how for case in made) for how in ("swap", "drop", "double", "slip")
    }
    with capsys.disabled():
        print(f"\nmisspellings: {kinds}, missed {len(missed)} of {len(made)}")
        print(f"danger: {len(STOPS)} lines that stop, {len(NOT)} that do not")
    assert len(made) > 2000
    assert missed == []


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
        assert found.stance == "said"


@pytest.mark.parametrize("piece", ["smoke ", "no ", "a", "s ", "a. ", "<@", "alarm ", "too hot "])
def test_time_grows_no_faster_than_the_text(piece: str) -> None:
    def took(length: int) -> float:
        words = (piece * length)[:length]
        best = float("inf")
        for _ in range(3):
            start = time.perf_counter()
            find(words, LEXICONS)
            best = min(best, time.perf_counter() - start)
        return best

    # Ten times the text; a quadratic way would take a hundred times as long.
    assert took(LONGEST) < 40 * took(LONGEST // 10) + 0.01


def test_what_lies_beyond_the_longest_text_is_not_read() -> None:
    assert find("x " * LONGEST + "smoke", LEXICONS) is None
