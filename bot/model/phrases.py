"""Finding a lexicon's phrases in words, misspelt ones too; linear in the number of words.

A phrase is written as words with a blank between them, and these signs:

``word*``    any word that begins so; ``*word*`` any word that holds it
``~``        up to three words of any kind
``#``        a number in digits or words (see ``Found.numbers``)

A word counts as a misspelling of one of ours when it is not itself a known word and

- ours has five letters or more and one edit (a letter too many, too few or another, or two
  neighbours swapped) makes one of the other;
- ours has three or four letters and two swapped neighbours make it;
- the lexicon lists it.
"""

import re
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from functools import lru_cache
from typing import NamedTuple

from bot.model.tokens import without_runs, words_of

GAP = "~"
NUMBER = "#"
GAP_WORDS = 3
#: Of how many words the terms are remembered: what people write is the same words again.
_REMEMBERED = 4096
#: Shortest word of ours that one edit may change, and shortest of which neighbours may swap.
EDIT_FROM, SWAP_FROM = 5, 3

_PART = re.compile(r"[^\s]+")


class Found(NamedTuple):
    """A phrase found at ``start`` (its first word) up to ``end`` (behind its last)."""

    meaning: str
    phrase: str
    start: int
    end: int
    numbers: tuple[float, ...] = ()
    exact: bool = True


class Phrases:
    """The phrases of one or more meanings, made ready for finding."""

    def __init__(
        self,
        meanings: Mapping[str, Iterable[str]],
        *,
        numbers: Mapping[str, float] | None = None,
        misspelt: Mapping[str, Iterable[str]] | None = None,
        known: Iterable[str] = (),
        folds: Mapping[str, str] | None = None,
    ) -> None:
        """``folds``: letters that are also written in another way, and how ours are written."""
        self._folds = tuple((folds or {}).items())
        self._numbers = {words_of(word)[0]: value for word, value in (numbers or {}).items()}
        #: By first term and second: empty where there is none or a gap follows.
        self._starts: dict[str, dict[str, list[tuple[str, str, tuple[str, ...]]]]] = {}
        self._exact: set[str] = set()
        self._stems: set[str] = set()
        self._inner: set[str] = set()
        for meaning, phrases in meanings.items():
            for phrase in phrases:
                self._add(meaning, phrase)
        self._known = set(known) | self._exact
        self._listed = {
            words_of(bad)[0]: words_of(good)[0]
            for good, spellings in (misspelt or {}).items()
            for bad in spellings
        }
        self._near = _neighbourhood(self._exact)
        self._stem_lengths = sorted({len(stem) for stem in self._stems})
        self.longest = max((len(word) for word in self._exact), default=0) + 1
        self.terms = lru_cache(_REMEMBERED)(self._terms)

    def _folded(self, word: str) -> str:
        """The word as ours are written, where it is only written in another way: "gruen"."""
        if word in self._known:
            return word
        return next(
            (o for o in self._other_spelling(word) if o in self._known or self._stems_of(o)), word
        )

    def _other_spelling(self, word: str) -> tuple[str, ...]:
        other = word
        for letters, ours in self._folds:
            other = other.replace(letters, ours)
        return () if other == word else (other,)

    @property
    def words(self) -> set[str]:
        """All whole words that stand in the phrases."""
        return self._exact

    def knows(self, word: str) -> bool:
        """Whether the word is a word as it stands: not a misspelling of another."""
        word = self._folded(word)
        return word in self._known or bool(self._stems_of(word))

    def _add(self, meaning: str, phrase: str) -> None:
        parts = tuple(self._term(part) for part in _PART.findall(phrase))
        flat = tuple(term for group in parts for term in group)
        if not flat or flat[0] == GAP or flat[-1] == GAP:
            raise ValueError(f"{meaning}: {phrase!r} is no phrase: it needs a word at each end")
        second = flat[1] if len(flat) > 1 and flat[1] != GAP else ""
        seconds = self._starts.setdefault(flat[0], {})
        seconds.setdefault(second, []).append((meaning, phrase, flat))

    def _term(self, part: str) -> tuple[str, ...]:
        if part in {GAP, NUMBER}:
            return (part,)
        bare = part.strip("*")
        words = words_of(bare)
        if "*" not in part:
            self._exact.update(words)
            return words
        if len(words) != 1 or not part.endswith("*"):
            raise ValueError(f"{part!r}: a star stands behind one word, or on both sides of it")
        if part.startswith("*"):
            self._inner.add(words[0])
            return (f"*{words[0]}*",)
        self._stems.add(words[0])
        return (f"{words[0]}*",)

    def _stems_of(self, word: str) -> list[str]:
        found = [
            f"{word[:length]}*" for length in self._stem_lengths if word[:length] in self._stems
        ]
        found += [f"*{inner}*" for inner in self._inner if inner in word]
        return found

    def _terms(self, word: str, *, known: bool = False) -> Mapping[str, bool]:
        """The terms of our phrases that a word may stand for; false where it is misspelt.

        ``known`` says that the word is known elsewhere, so it is no misspelling.
        """
        word = self._folded(word)
        found = dict.fromkeys(self._stems_of(word), True)
        if word in self._exact:
            found[word] = True
        if self.number(word) is not None:
            found[NUMBER] = True
        # A word that only begins as one of ours may still be a whole word of ours misspelt.
        settled = known or word in self._known or NUMBER in found
        if not settled:
            for spelling in (word, *self._other_spelling(word), *without_runs(word)):
                found |= {term: False for term in self._corrected(spelling) if term not in found}
        return found

    def number(self, word: str) -> float | None:
        """The value of a number in digits or words, or of a clock time in hours; else none."""
        word = self._folded(word)
        if word in self._numbers:
            return self._numbers[word]
        hour, colon, minute = word.partition(":")
        if colon and len(word) <= 5 and hour.isdecimal() and minute.isdecimal():
            return int(hour) + int(minute) / 60
        if len(word) <= 9 and word.replace(",", ".", 1).replace(".", "", 1).isdecimal():
            return float(word.replace(",", ".", 1))
        return None

    def _corrected(self, word: str) -> set[str]:
        found = {self._listed[word]} if word in self._listed else set()
        if word in self._exact:
            found.add(word)
        found.update(self._stems_of(word))
        if len(word) <= self.longest:
            for shorter in (word, *_deletes(word)):
                found.update(
                    ours for ours in self._near.get(shorter, ()) if misspelling(word, ours)
                )
        return found

    def find(self, words: Sequence[str], *, known: Collection[str] = ()) -> list[Found]:
        """Every phrase found, in the order of their first words. ``known``: no misspellings."""
        terms = [self.terms(word, known=word in known) for word in words]
        found: list[Found] = []
        for start, here in enumerate(terms):
            behind = terms[start + 1] if start + 1 < len(terms) else ()
            for term in here:
                seconds = self._starts.get(term)
                if seconds is None:
                    continue
                for second in ("", *behind):
                    for meaning, phrase, parts in seconds.get(second, ()):
                        end = start + 1 if len(parts) == 1 else _match(parts, terms, start)
                        if end is not None:
                            found.append(self._found(meaning, phrase, words, terms, start, end))
        return found

    def _found(
        self,
        meaning: str,
        phrase: str,
        words: Sequence[str],
        terms: Sequence[Mapping[str, bool]],
        start: int,
        end: int,
    ) -> Found:
        values = [self.number(word) for word in words[start:end]] if NUMBER in phrase else []
        exact = all(all(here.values()) for here in terms[start:end])
        numbers = tuple(value for value in values if value is not None)
        return Found(meaning, phrase, start, end, numbers, exact)


def misspelling(word: str, ours: str) -> bool:
    """Whether one small slip of the finger makes ``word`` out of ``ours``."""
    if word == ours:
        return False
    if len(ours) >= SWAP_FROM and _swapped(word, ours):
        return True
    return len(ours) >= EDIT_FROM and _one_edit(word, ours)


def _swapped(word: str, ours: str) -> bool:
    if len(word) != len(ours):
        return False
    at = [i for i, (a, b) in enumerate(zip(word, ours, strict=True)) if a != b]
    return (
        len(at) == 2
        and at[1] == at[0] + 1
        and word[at[0]] == ours[at[1]]
        and word[at[1]] == ours[at[0]]
    )


def _one_edit(word: str, ours: str) -> bool:
    if len(word) == len(ours):
        return sum(a != b for a, b in zip(word, ours, strict=True)) == 1
    longer, shorter = (word, ours) if len(word) > len(ours) else (ours, word)
    return len(longer) == len(shorter) + 1 and shorter in _deletes(longer)


def _deletes(word: str) -> set[str]:
    return {word[:i] + word[i + 1 :] for i in range(len(word))}


def _neighbourhood(words: Iterable[str]) -> dict[str, set[str]]:
    """Our words by what is left when one letter is taken out: near words share an entry."""
    near: dict[str, set[str]] = defaultdict(set)
    for word in words:
        if len(word) >= SWAP_FROM and word.isalpha():
            for shorter in (word, *_deletes(word)):
                near[shorter].add(word)
    return near


def _match(
    parts: Sequence[str], terms: Sequence[Mapping[str, bool]], start: int, at: int = 0
) -> int | None:
    """Where the phrase that starts here ends, or none. Gaps are as short as they can be."""
    for index in range(at, len(parts)):
        if parts[index] == GAP:
            for skipped in range(GAP_WORDS + 1):
                end = _match(parts, terms, start + skipped, index + 1)
                if end is not None:
                    return end
            return None
        if start >= len(terms) or parts[index] not in terms[start]:
            return None
        start += 1
    return start
