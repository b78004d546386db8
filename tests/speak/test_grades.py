"""Reading grades against figures that others published, and syllables against a hyphenator."""

import pyphen
import pytest

from bot.speak.catalogue import standard
from tests.speak import grades, samples
from tests.speak.grades import flesch_kincaid, grade, syllables, words
from tests.speak.table import plain

DUCKLINGS = (
    "Alle meine Entchen schwimmen auf dem See, Köpfchen unters Wasser, Schwänzchen in die Höh."
)
PARTIES = (
    "Alle Parteien widmen dem Thema rein quantitativ betrachtet nennenswerte Aufmerksamkeit, "
    "die Grünen wenig überraschend am meisten."
)


def test_the_english_formula_by_a_published_example() -> None:
    """Source: https://github.com/words/flesch-kincaid, "Usage": 13 words, 26 syllables, 13.08."""
    assert round(flesch_kincaid(13, 1, 26), 2) == 13.08


def test_an_english_text_by_a_published_example() -> None:
    """Source: the same sentence. It counts 26 syllables, the pronouncing dictionary 24 to 26."""
    text = "The Australian platypus is seemingly a hybrid of a mammal and reptilian creature."
    assert len(words(text)) == 13
    assert 24 <= sum(syllables(word, "en") for word in words(text)) <= 26
    assert flesch_kincaid(13, 1, 24) <= grade(text, "en") <= 13.09


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        (DUCKLINGS, 3.77),
        (PARTIES, 13.913),
    ],
)
def test_german_texts_by_published_examples(text: str, shown: float) -> None:
    """Source: the tests of textstat 0.7.13, test_wiener_sachtextformel.py, variant 1."""
    assert round(grade(text, "de"), 3) == shown


@pytest.mark.parametrize(
    ("word", "language", "count"),
    [
        ("smoke", "en", 1),
        ("table", "en", 2),
        ("library", "en", 3),
        ("unplugged", "en", 2),
        ("S/N", "en", 2),
        ("18:05", "en", 1),
        ("aber", "de", 2),
        ("Minuten", "de", 3),
        ("Feuer", "de", 2),
        ("beobachten", "de", 4),
        ("HML-4F7K2Q", "de", 2),
        ("WLAN-Kabel", "de", 3),
    ],
)
def test_syllables(word: str, language: str, count: int) -> None:
    assert syllables(word, language) == count


def test_no_german_word_of_ours_has_fewer_syllables_than_places_to_part_it() -> None:
    parting = pyphen.Pyphen(lang="de_DE")
    said = {word for key in samples.of_kind("contact") for word in words(plain(key, "de"))}
    assert len(said) > 300
    short = [w for w in said if w.isalpha() and syllables(w, "de") <= len(parting.positions(w))]
    assert short == []


def test_most_english_words_of_ours_are_in_the_dictionary() -> None:
    """Counting vowels is the exception: names, and words written with a figure."""
    said = {w.casefold() for key in samples.of_kind("contact") for w in words(plain(key, "en"))}
    plain_words = {word for word in said if word.isalpha()}
    assert len(plain_words - grades._spoken().keys()) <= len(plain_words) // 50


def test_longer_words_and_sentences_are_harder() -> None:
    assert grade("It is on. It blinks.", "en") < grade(
        "The illuminated indicator oscillates intermittently.", "en"
    )
    assert grade("Es ist an. Es blinkt.", "de") < grade(
        "Die Kontrollleuchte signalisiert unregelmäßige Unterbrechungen.", "de"
    )


def test_every_language_that_ships_has_a_formula() -> None:
    assert set(standard().languages()) <= set(grades.FORMULAS)
