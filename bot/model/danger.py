"""Words of danger, misspelt ones too. In doubt it is danger.

A phrase that only sounds like danger ("going out for a smoke") excuses the words inside it and
no others, only when spelt right, and only inside one clause: "fire, door stuck" is no fire door.
"""

from collections.abc import Iterator, Sequence
from itertools import groupby, pairwise
from typing import Literal

import msgspec

from bot.model.lexicon import DENIES, ENQUIRES, NOT, SIGNS, Lexicon
from bot.model.phrases import Found
from bot.model.tokens import LONGEST_WORD, Clause, clauses
from bot.model.words import covered, outside, reach

#: ``said``; ``denied`` ("no smoke here"): asked once, a denial alone dismisses nothing;
#: ``asked`` ("any smoke?"): somebody enquires, which from on-call is no danger.
Stance = Literal["said", "denied", "asked"]
_WORST: tuple[Stance, ...] = ("said", "asked", "denied")
#: So many single letters in a row are a word written with blanks between them.
SPACED_LETTERS = 4


class Danger(msgspec.Struct, frozen=True, kw_only=True):
    """What was found: the rule, the words as written, and how they were meant."""

    rule: str
    word: str
    stance: Stance = "said"


def find(words: str, lexicons: Sequence[Lexicon]) -> Danger | None:
    """The gravest danger in the words, in any of the languages; none if there is none."""
    parts = clauses(words)
    found = [danger for part in parts for danger in _in_clause(part, lexicons)]
    if not found:
        found = list(_in_pieces([word for part in parts for word in part.words], lexicons))
    if not found and len(parts) > 1:
        found = list(_across(parts, lexicons))
    return min(found, key=lambda danger: _WORST.index(danger.stance), default=None)


def _in_clause(clause: Clause, lexicons: Sequence[Lexicon]) -> Iterator[Danger]:
    words = clause.words
    known = {word for word in words if any(word in lexicon.known for lexicon in lexicons)}
    found = [(lexicon, lexicon.dangers.find(words, known=known)) for lexicon in lexicons]
    excuses = [hit for _, hits in found for hit in hits if hit.meaning == NOT and hit.exact]
    for lexicon, hits in found:
        grave = [hit for hit in hits if hit.meaning not in SIGNS]
        denied = _denied(words, hits, grave, lexicon)
        asked = clause.asks and any(h.meaning == ENQUIRES and h.start == 0 for h in hits)
        for hit in outside(grave, excuses):
            stance: Stance = "denied" if denied[hit.start] else "asked" if asked else "said"
            word = " ".join(words[hit.start : hit.end])
            yield Danger(rule=hit.meaning, word=word, stance=stance)


def _denied(
    words: Sequence[str], hits: Sequence[Found], grave: Sequence[Found], lexicon: Lexicon
) -> list[bool]:
    """For each place, whether a denial reaches it, over small words and other dangers."""
    dangers = covered(grave)
    flags = ["" if index in dangers else word for index, word in enumerate(words)]
    ends = {hit.end for hit in hits if hit.meaning == DENIES}
    return reach(flags, ends, lexicon.denying_words | {""})


def _in_pieces(words: Sequence[str], lexicons: Sequence[Lexicon]) -> Iterator[Danger]:
    """A word cut in two ("smo ke"), or with something between all its letters ("s.m.o.k.e")."""
    for one, two in pairwise(words):
        rules = (lexicon.danger_words.get(one + two) for lexicon in lexicons)
        yield from (Danger(rule=rule, word=f"{one} {two}") for rule in rules if rule)
    for single, group in groupby(words, key=lambda word: len(word) == 1):
        letters = list(group)
        if single and len(letters) >= SPACED_LETTERS:
            word = "".join(letters)[:LONGEST_WORD]
            yield from _in_clause(Clause((word,)), lexicons)


def _across(parts: Sequence[Clause], lexicons: Sequence[Lexicon]) -> Iterator[Danger]:
    """Phrases that punctuation cuts in two: "the alarm... going off"."""
    words = [word for part in parts for word in part.words]
    owner = [index for index, part in enumerate(parts) for _ in part.words]
    for lexicon in lexicons:
        for hit in lexicon.dangers.find(words):
            if hit.meaning not in SIGNS and owner[hit.start] != owner[hit.end - 1]:
                yield Danger(rule=hit.meaning, word=" ".join(words[hit.start : hit.end]))
