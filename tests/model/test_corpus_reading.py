"""What the reader must never do, over the whole corpus, the kept third too."""

import pytest

from bot.speak.lexicon import languages
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
