"""What the reader must never do, over the whole corpus, the kept third too."""

import pytest

from bot.model.danger import find
from bot.speak.lexicon import every_lexicon, languages
from tests.bench.reader import BOOK, reading_of
from tests.model.corpus import LANGUAGES, SETS, Sentence, sentences
from tests.model.corpus.scoring import Verdict, judge

KNOWN = [language for language in LANGUAGES if language in languages()]


def verdicts(language: str) -> list[tuple[Sentence, Verdict]]:
    corpus = [sentence for which in SETS for sentence in sentences(language, which)]
    return [(sentence, judge(sentence, reading_of(sentence), BOOK)) for sentence in corpus]


@pytest.mark.parametrize("language", KNOWN)
def test_no_danger_and_no_fault_is_missed(language: str) -> None:
    judged = verdicts(language)
    assert [sentence.text for sentence, verdict in judged if verdict.danger_missed] == []
    assert [sentence.text for sentence, verdict in judged if verdict.fault_missed] == []


ADDED = {
    "en": ("there is smoke", "it sparked", "I got a shock", "water is running into it"),
    "de": ("es raucht", "es hat gefunkt", "es tropft Wasser rein", "es riecht verbrannt"),
}


@pytest.mark.parametrize("language", KNOWN)
def test_a_danger_beside_any_sentence_stops(language: str) -> None:
    """Before it or after it; without a mark between it may be a denial, but is never passed by."""
    lexicons = every_lexicon()
    corpus = [sentence for which in SETS for sentence in sentences(language, which)]
    for number, sentence in enumerate(corpus):
        danger = ADDED[language][number % len(ADDED[language])]
        between = (". ", ", ", "\n", " ")[number // len(ADDED[language]) % 4]
        for words in (f"{danger}{between}{sentence.text}", f"{sentence.text}{between}{danger}"):
            found = find(words, lexicons)
            assert found is not None, words
            assert found.stance == "said" or between == " ", words
