"""Words of danger, misspelt ones too, in every language at once. In doubt it is danger.

A phrase that only sounds like danger ("going out for a smoke") excuses the words inside it and
no others, only when spelt right, and only inside one clause: "fire, door stuck" is no fire door.
"""

from collections.abc import Container, Iterator, Sequence
from itertools import groupby, pairwise
from typing import Literal, NamedTuple

import msgspec

from bot.model.lexicon import DENIES, DENIES_AFTER, ENQUIRES, IF_ASKED, NOT, Lexicon
from bot.model.phrases import EDIT_FROM, Found
from bot.model.tokens import LONGEST_WORD, Clause, clauses
from bot.model.words import covered, outside, reach

#: ``said``; ``denied`` ("no smoke here"): asked once, a denial alone dismisses nothing;
#: ``asked`` ("any smoke?"): somebody enquires, which from on-call is no danger.
Stance = Literal["said", "denied", "asked"]
_WORST: tuple[Stance, ...] = ("said", "asked", "denied")
#: So many single letters in a row are a word written with blanks between them.
SPACED_LETTERS = 4


class Danger(msgspec.Struct, frozen=True, gc=False, kw_only=True):
    """What was found: the rule, the words as written, and how they were meant.

    ``languages`` are those whose words were found, most likely first; ``doubt`` says that it
    was asked or hedged ("smoke?", "might be smoke").
    """

    rule: str
    word: str
    stance: Stance = "said"
    languages: tuple[str, ...] = ()
    doubt: bool = False


class _Sign(NamedTuple):
    """One place where danger is spoken of; ``exact`` when spelt right."""

    rule: str
    word: str
    stance: Stance
    doubt: bool
    language: str
    exact: bool = True


def find(words: str, lexicons: Sequence[Lexicon]) -> Danger | None:
    """The gravest danger in the words, in any of the languages; none if there is none."""
    parts = clauses(words)
    signs = [sign for part in parts for sign in _in_clause(part, lexicons)]
    if not signs:
        signs = list(_in_pieces([word for part in parts for word in part.words], lexicons))
    if not signs and len(parts) > 1:
        signs = list(_across(parts, lexicons))
    if not signs:
        return None
    worst = min(signs, key=lambda sign: (_WORST.index(sign.stance), sign.doubt))
    spelt = [sign for sign in signs if sign.exact] or signs
    return Danger(
        rule=worst.rule,
        word=worst.word,
        stance=worst.stance,
        languages=tuple(dict.fromkeys(sign.language for sign in spelt)),
        doubt=worst.doubt,
    )


def _in_clause(clause: Clause, lexicons: Sequence[Lexicon]) -> Iterator[_Sign]:
    words = clause.words
    known = {word for word in words for lexicon in lexicons if word in lexicon.known}
    dangers = [(lexicon, lexicon.dangers.find(words, known=known)) for lexicon in lexicons]
    if not any(hits for _, hits in dangers):
        return
    signs = [(each, each.danger_signs.find(words, known=known)) for each in lexicons]
    excuses = [hit for _, hits in signs for hit in hits if hit.meaning == NOT and hit.exact]
    places = covered(hit for _, hits in dangers for hit in hits)
    before, behind = _denials(words, places, signs)
    for lexicon, hits in dangers:
        if not hits:
            continue
        unsure = clause.asks or any(hit.meaning == "hedges" for hit in lexicon.within.find(words))
        elsewhere = _elsewhere(words, lexicon, lexicons)
        asked = clause.asks and _enquired(signs)
        for hit in outside(hits, excuses):
            if hit.meaning.endswith(IF_ASKED) and not unsure:
                continue
            if elsewhere.issuperset(words[hit.start : hit.end]):
                continue
            denied = before[hit.start] or behind[hit.end]
            yield _Sign(
                rule=hit.meaning.removesuffix(IF_ASKED),
                word=" ".join(words[hit.start : hit.end]),
                stance="denied" if denied else "asked" if asked else "said",
                doubt=unsure,
                language=lexicon.language,
                exact=hit.exact,
            )


def _enquired(signs: Sequence[tuple[Lexicon, Sequence[Found]]]) -> bool:
    """Whether the clause begins as an enquiry, in any language."""
    return any(hit.meaning == ENQUIRES and hit.start == 0 for _, hits in signs for hit in hits)


def _elsewhere(
    words: Sequence[str], lexicon: Lexicon, lexicons: Sequence[Lexicon]
) -> frozenset[str]:
    """Words that are ordinary in another language, which all that is around them speaks."""
    ordinary: set[str] = set()
    for other in lexicons:
        if other is lexicon or not other.own_words:
            continue
        theirs = any(word in other.known and word not in lexicon.known for word in words)
        ours = any(word in lexicon.known and word not in other.known for word in words)
        if theirs and not ours:
            ordinary |= other.own_words
    return frozenset(ordinary)


def _denials(
    words: Sequence[str],
    dangers: Container[int],
    found: Sequence[tuple[Lexicon, Sequence[Found]]],
) -> tuple[list[bool], list[bool]]:
    """For each place, whether a denial before it, or from it on, reaches it.

    Over small words and other dangers, and in any language: "no gas" is a denial, although
    German knows the gas and not the no.
    """
    flags = ["" if index in dangers else word for index, word in enumerate(words)]
    before, behind = [False] * (len(words) + 1), [False] * (len(words) + 1)
    for lexicon, hits in found:
        ends = {hit.end for hit in hits if hit.meaning == DENIES}
        reached = reach(flags, ends, lexicon.denying_words | {""})
        before = [one or two for one, two in zip(before, reached, strict=True)]
        reached = _denied_behind(flags, hits, lexicon)
        behind = [one or two for one, two in zip(behind, reached, strict=True)]
    return before, behind


def _denied_behind(flags: Sequence[str], hits: Sequence[Found], lexicon: Lexicon) -> list[bool]:
    """The same for a denial behind it ("es raucht nicht"), with nothing but small words after.

    "It does not smell good" denies nothing: what follows says more.
    """
    ends = {hit.start: hit.end for hit in hits if hit.meaning == DENIES_AFTER}
    size = len(flags)
    small = [flag == "" or flag in lexicon.after_words for flag in flags]
    last = [False] * (size + 1)  # nothing but small words and denials from here on
    reached = [False] * (size + 1)
    last[size] = True
    for place in range(size - 1, -1, -1):
        end = ends.get(place)
        here = end is not None and last[end]
        last[place] = here or (small[place] and last[place + 1])
        reached[place] = here or (small[place] and reached[place + 1])
    return reached


def _in_pieces(words: Sequence[str], lexicons: Sequence[Lexicon]) -> Iterator[_Sign]:
    """A word cut in two ("smo ke"), joined to its neighbour ("thesmoke"), or with something
    between all its letters ("s.m.o.k.e")."""
    for one, two in pairwise(words):
        for lexicon in lexicons:
            rule = lexicon.danger_words.get(one + two)
            if rule and not (one in lexicon.known and two in lexicon.known):
                yield _Sign(rule, f"{one} {two}", "said", False, lexicon.language, False)
    for word in words:
        if len(word) >= EDIT_FROM and not any(word in lexicon.known for lexicon in lexicons):
            for lexicon in lexicons:
                for rule in _glued(word, lexicon):
                    yield _Sign(rule, word, "said", False, lexicon.language, False)
    for single, group in groupby(words, key=lambda word: len(word) == 1):
        letters = list(group)
        if single and len(letters) >= SPACED_LETTERS:
            word = "".join(letters)[:LONGEST_WORD]
            yield from _in_clause(Clause((word,)), lexicons)


def _glued(word: str, lexicon: Lexicon) -> Iterator[str]:
    """The rules of a word of danger with a small word joined to it: "thesmoke", "smokefrom"."""
    for cut in range(1, len(word)):
        one, two = word[:cut], word[cut:]
        if one in lexicon.glued_words and two in lexicon.danger_words:
            yield lexicon.danger_words[two]
        if two in lexicon.glued_words and one in lexicon.danger_words:
            yield lexicon.danger_words[one]


def _across(parts: Sequence[Clause], lexicons: Sequence[Lexicon]) -> Iterator[_Sign]:
    """Phrases that punctuation cuts in two: "the alarm... going off"."""
    words = [word for part in parts for word in part.words]
    owner = [index for index, part in enumerate(parts) for _ in part.words]
    for lexicon in lexicons:
        for hit in lexicon.dangers.find(words):
            if hit.meaning.endswith(IF_ASKED):
                continue
            if owner[hit.start] != owner[hit.end - 1]:
                word = " ".join(words[hit.start : hit.end])
                yield _Sign(hit.meaning, word, "said", False, lexicon.language, hit.exact)
