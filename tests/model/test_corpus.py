"""The corpus itself: how large it is, how it is divided, that it can be read, what lies in it."""

from collections import Counter

import pytest

from tests.model.corpus import HEARD, LANGUAGES, SETS, Sentence, sentences
from tests.model.corpus.scoring import worst

LEAST = {"en": 600, "de": 300}


def everything(language: str) -> list[Sentence]:
    return [sentence for which in SETS for sentence in sentences(language, which)]


@pytest.mark.parametrize("language", LANGUAGES)
def test_size_and_the_third_that_is_kept(language: str) -> None:
    total, kept = everything(language), sentences(language, "kept")
    assert len(total) >= LEAST[language]
    for question in HEARD:
        here = sum(sentence.question == question for sentence in total)
        assert here > 0
        assert sum(sentence.question == question for sentence in kept) == here // 3


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_sentence_stands_there_twice(language: str) -> None:
    """The same words may answer two questions; of one question they stand once, in one set."""
    counted = Counter((s.question, s.text.casefold()) for s in everything(language))
    assert [pair for pair, times in counted.items() if times > 1] == []


@pytest.mark.parametrize("language", LANGUAGES)
def test_hardly_any_words_come_in_both_sets(language: str) -> None:
    """What is kept says something of sentences that were not seen: few lines are in both."""
    tune, kept = ({s.text.casefold() for s in sentences(language, one)} for one in SETS)
    assert len(tune & kept) <= len(kept) / 20


@pytest.mark.parametrize("language", LANGUAGES)
def test_danger_faults_and_plain_answers_are_all_there(language: str) -> None:
    total = everything(language)
    kinds = Counter(worst(sentence.label)[0].kind for sentence in total)
    assert kinds["danger"] >= len(total) * 0.06
    assert kinds["denied"] > 0
    for kind in ("help", "stop", "power_cycled", "no", "light", "later", "question", "done"):
        assert kinds[kind] >= len(total) * 0.01, kind
