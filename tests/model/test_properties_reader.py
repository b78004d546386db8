"""What must hold for any words at all: faults, misspellings, rules and reasons.

Colours are misspelt by one rule: two neighbouring letters change places.
"""

from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from bot.model.lexicon import Lexicon
from bot.model.reader import ASK_KEYS, read
from bot.model.reading import Heard, Reading
from bot.model.runbook import Runbook
from bot.runbooks.load import load
from bot.speak.lexicon import every_lexicon, lexicon
from tests.model.corpus import HEARD, sentences

BOOK: Runbook = load(Path(__file__).parents[2] / "bot/practice/hollowmere/runbook.yaml")
EN: Lexicon = lexicon("en")
for _heard in HEARD.values():  # made ready once, not while a test's time is taken
    read("ready", _heard, BOOK, EN, dangers=every_lexicon())
LIGHT = [heard for heard in HEARD.values() if heard.ask == "light"]
ANYWHERE = st.sampled_from(list(HEARD.values()))
SAID = sorted({sentence.text for sentence in sentences("en", "tune")})
WORDS = sorted(EN.known)
#: What the runbook takes for a fault, or for something to be looked after.
BAD = frozenset(("fault", "not_reached", "dark"))
GOOD = frozenset(("registered", "reaching"))
FAULTS = [*EN.colours["red"], *EN.colours["yellow"]]
GREENS = ["steady green", "solid green", "green and not blinking"]
NEGATIONS = [*EN.negates, *EN.negates_next]


def hear(words: str, heard: Heard) -> list[Reading]:
    return read(words, heard, BOOK, EN, dangers=every_lexicon())


def success(reading: Reading) -> bool:
    """Whether it would be acted on as if the light were as it should be."""
    return reading.kind == "light" and reading.pattern in GOOD and not reading.ask


TEXTS = (
    st.text()
    | st.lists(st.sampled_from([*WORDS, ",", ".", "?", "and", "5", "21:30"])).map(" ".join)
    | st.lists(st.sampled_from(SAID), min_size=1, max_size=3).map(" ".join)
)


@given(TEXTS, ANYWHERE)
@example("\ud800", HEARD["none"])
@example("not " * 400, HEARD["light_loading"])
def test_any_words_are_read_and_each_reading_says_why(words: str, heard: Heard) -> None:
    readings = hear(words, heard)
    assert readings
    for reading in readings:
        assert reading.rule
        assert reading.ask == "" or reading.ask in ASK_KEYS
        assert reading.kind != "unclear" or reading.ask


@given(st.sampled_from(NEGATIONS), st.sampled_from(FAULTS), st.sampled_from(LIGHT))
def test_a_negated_fault_is_no_success_unless_it_is_asked(
    negation: str, fault: str, heard: Heard
) -> None:
    for words in (f"{negation} {fault}", f"it is {negation} {fault} now", f"{negation} a {fault}"):
        assert not any(success(reading) for reading in hear(words, heard))


@given(st.sampled_from(NEGATIONS), st.sampled_from(["green", "steady green", "green and steady"]))
def test_a_negated_success_is_no_success(negation: str, good: str) -> None:
    words = f"{negation} {good}"
    assert not any(success(reading) for reading in hear(words, HEARD["light_registry"]))


def slips(word: str) -> list[str]:
    """The word with each two neighbours swapped."""
    pairs = enumerate(pairwise(word))
    return [word[:at] + two + one + word[at + 2 :] for at, (one, two) in pairs if one != two]


@pytest.mark.parametrize("form", ["{}", "the light is {}", "{} and steady", "its gone {} now"])
@pytest.mark.parametrize("fault", ["red", "yellow", "amber", "orange"])
def test_a_slip_in_a_colour_makes_no_success_of_a_fault(fault: str, form: str) -> None:
    for slip in slips(fault):
        for heard in LIGHT:
            readings = hear(form.format(slip), heard)
            assert not any(success(reading) for reading in readings)
            light = next((r for r in readings if r.kind == "light"), None)
            if light is not None and light.pattern and not light.ask:
                assert light.pattern in BAD


@given(st.sampled_from(SAID), st.sampled_from(LIGHT))
def test_red_behind_anything_is_never_taken_for_well(words: str, heard: Heard) -> None:
    readings = hear(f"{words}. and now the light is red", heard)
    assert not any(success(reading) for reading in readings)
    assert any(
        reading.kind in ("light", "danger") and (reading.ask or reading.pattern != "registered")
        for reading in readings
    )


@given(st.sampled_from(SAID))
def test_a_doubt_behind_it_makes_a_done_unsure(words: str) -> None:
    for reading in hear(f"{words}. no wait, it is not done", HEARD["confirm"]):
        assert reading.kind != "done" or reading.ask


@given(st.sampled_from(["I think", "maybe", "probably", "not sure but"]), st.sampled_from(GREENS))
def test_a_hedged_success_is_asked_back(hedge: str, good: str) -> None:
    for words in (f"{hedge} {good}", f"{good}, {hedge}"):
        assert not any(success(reading) for reading in hear(words, HEARD["light_registry"]))
        assert hear(good, HEARD["light_registry"])[0].pattern == "registered"


@given(st.sampled_from(["I think", "maybe", "probably"]), st.sampled_from(["red", "solid red"]))
def test_a_hedged_fault_is_not_dropped(hedge: str, fault: str) -> None:
    first = hear(f"{hedge} {fault}", HEARD["light_registry"])[0]
    assert first.kind == "light"
    assert first.ask or first.pattern == "fault"
