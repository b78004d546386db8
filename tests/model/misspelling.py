"""Misspellings of words of danger, made by rule; no chance in it.

For every single word of danger of a lexicon, letters only:

``swap``    two neighbouring letters change places                  (words of 3 letters or more)
``drop``    one letter is missing                                   (5 or more)
``double``  one letter stands twice                                 (5 or more)
``slip``    one letter is that of a neighbouring key, on an English
            (QWERTY) or German (QWERTZ) keyboard                    (5 or more)
``run``     a vowel is drawn out: "smooooke"                        (3 or more)
``join``    the blank before it is missing: "thesmoke"              (5 or more)
``split``   a blank too many: "smo ke"                              (6 or more)

A result that is a word of its own in any of the languages ("fallen" is German and English) is
no misspelling: it is given as such, to be counted and not judged.
"""

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from bot.model.lexicon import Lexicon
from bot.model.tokens import words_of

KINDS = ("swap", "drop", "double", "slip", "run", "join", "split")
SWAP_FROM, RUN_FROM, EDIT_FROM, SPLIT_FROM = 3, 3, 5, 6
_ROWS = {
    "en": ("qwertyuiop", "asdfghjkl", "zxcvbnm"),
    "de": ("qwertzuiop", "asdfghjkl", "yxcvbnm"),
}
#: What the missing blank joins it to, one word for each language.
_BEFORE = {"en": "the", "de": "der"}


class Misspelt(NamedTuple):
    """``own``: it is a word of its own, and so left out."""

    kind: str
    word: str
    wrong: str
    own: bool


def _beside(language: str) -> dict[str, str]:
    """The keys left and right of each key."""
    rows = _ROWS[language]
    return {
        key: "".join(row[i + step] for step in (-1, 1) if 0 <= i + step < len(row))
        for row in rows
        for i, key in enumerate(row)
    }


def danger_words(lexicon: Lexicon) -> list[str]:
    """The single words of danger, letters only, as they are compared; no beginnings of words."""
    listed = (phrase for listed in lexicon.danger.values() for phrase in listed)
    every = (words_of(phrase) for phrase in listed if "*" not in phrase)
    return sorted({w[0] for w in every if len(w) == 1 and w[0].isalpha() and len(w[0]) >= 3})


def misspellings(word: str, language: str) -> Iterator[tuple[str, str]]:
    """Every misspelling of one word, with its kind; some are the word itself."""
    if len(word) >= SWAP_FROM:
        for i in range(len(word) - 1):
            yield "swap", word[:i] + word[i + 1] + word[i] + word[i + 2 :]
    if len(word) >= RUN_FROM:
        for i, letter in enumerate(word):
            if letter in "aeiou":
                yield "run", word[:i] + 4 * letter + word[i + 1 :]
    if len(word) >= SPLIT_FROM:
        for i in range(2, len(word) - 1):
            yield "split", f"{word[:i]} {word[i:]}"
    if len(word) < EDIT_FROM:
        return
    yield "join", _BEFORE[language] + word
    beside = _beside(language)
    for i, letter in enumerate(word):
        yield "drop", word[:i] + word[i + 1 :]
        yield "double", word[:i] + letter + word[i:]
        for key in beside.get(letter, ""):
            yield "slip", word[:i] + key + word[i + 1 :]


def _is_word(word: str, lexicon: Lexicon) -> bool:
    other = word
    for letters, ours in lexicon.folds.items():
        other = other.replace(letters, ours)
    return word in lexicon.known or other in lexicon.known


def generated(lexicon: Lexicon, lexicons: Sequence[Lexicon]) -> list[Misspelt]:
    """All misspellings of a language's words of danger, each once."""
    made: dict[str, Misspelt] = {}
    for word in danger_words(lexicon):
        for kind, wrong in misspellings(word, lexicon.language):
            if wrong == word or wrong in made:
                continue
            parts = wrong.split()
            own = any(all(_is_word(part, each) for part in parts) for each in lexicons)
            made[wrong] = Misspelt(kind, word, wrong, own)
    return list(made.values())
