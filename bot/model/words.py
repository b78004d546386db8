"""One clause with everything a lexicon finds in it, and small questions about what was found."""

from collections import defaultdict
from collections.abc import Container, Iterable, Sequence
from functools import cached_property

from bot.model.lexicon import Lexicon
from bot.model.phrases import Found
from bot.model.tokens import Clause


class Part:
    """A clause, and the phrases found in it, each group looked for at most once."""

    def __init__(self, clause: Clause, lexicon: Lexicon) -> None:
        self.words = clause.words
        self._question_mark = clause.asks
        self._lexicon = lexicon

    @cached_property
    def signs(self) -> list[Found]:
        """What may stand anywhere in a clause: meanings, negations, hedges, questions."""
        return self._lexicon.within.find(self.words)

    @cached_property
    def alone(self) -> list[Found]:
        """What a clause may say and nothing else; fillers left out."""
        return [hit for hit in self._alone if hit.meaning != "filler"]

    @cached_property
    def lights(self) -> list[Found]:
        return self._lexicon.lights.find(self.words)

    @cached_property
    def times(self) -> list[Found]:
        return self._lexicon.times.find(self.words)

    @cached_property
    def picks(self) -> list[Found]:
        return self._lexicon.picks.find(self.words)

    @cached_property
    def hedged(self) -> bool:
        return any(hit.meaning == "hedges" for hit in self.signs)

    @cached_property
    def asks(self) -> bool:
        """Whether it is a question: a question mark, or how it starts."""
        if self._question_mark:
            return True
        first = min(self._unfilled, default=len(self.words))
        return any(hit.meaning == "asks" and hit.start <= first for hit in self.signs)

    @cached_property
    def _alone(self) -> list[Found]:
        return self._lexicon.alone.find(self.words)

    @cached_property
    def _unfilled(self) -> list[int]:
        """Places of the words that are no fillers."""
        fillers = covered(hit for hit in self._alone if hit.meaning == "filler")
        return [index for index in range(len(self.words)) if index not in fillers]

    def says_only(self, hit: Found) -> bool:
        """Whether the clause says this and nothing else."""
        return all(hit.start <= index < hit.end for index in self._ends_unfilled)

    @cached_property
    def _ends_unfilled(self) -> tuple[int, ...]:
        return (self._unfilled[0], self._unfilled[-1]) if self._unfilled else ()

    def says_more_than(self, hits: Iterable[Found]) -> bool:
        """Whether there are words beside these phrases and fillers."""
        taken = covered(hits)
        return any(index not in taken for index in self._unfilled)

    def turned_round(self, hit: Found) -> bool:
        """Whether a word before it turns the phrase into its opposite: "not done", "no red"."""
        return self._reach[hit.start]

    @cached_property
    def _reach(self) -> list[bool]:
        return self.reach_over(())

    def reach_over(self, hits: Sequence[Found]) -> list[bool]:
        """For each place, whether a negation reaches it; it goes over these phrases as well.

        A negation inside one of them ("not blinking") is spent there.
        """
        over = covered(hits)
        signs = [hit for hit in self.signs if hit.meaning == "negates"]
        ends = {hit.end for hit in outside(signs, hits)}
        flags = ["" if index in over else word for index, word in enumerate(self.words)]
        return reach(flags, ends, self._lexicon.turning_words | {""})


def covered(hits: Iterable[Found]) -> set[int]:
    """The places of all words in these phrases."""
    return {index for hit in hits for index in range(hit.start, hit.end)}


def reach(words: Sequence[str], ends: Container[int], through: Container[str]) -> list[bool]:
    """For each place, whether a word that ends before it reaches it over small words only."""
    reached = [0 in ends]
    for index, word in enumerate(words):
        reached.append(index + 1 in ends or (reached[index] and word in through))
    return reached


def overlap(one: Found, two: Found) -> bool:
    return one.start < two.end and two.start < one.end


def not_inside(hits: Sequence[Found]) -> list[Found]:
    """Without those that lie within a longer one: "off" says nothing inside "on and off"."""
    furthest = _furthest(hits)
    longest: dict[int, int] = defaultdict(int)
    for hit in hits:
        longest[hit.start] = max(longest[hit.start], hit.end)
    return [hit for hit in hits if furthest[hit.start] < hit.end and longest[hit.start] == hit.end]


def outside(hits: Sequence[Found], others: Sequence[Found]) -> list[Found]:
    """Those of ``hits`` that do not lie within one of the others."""
    furthest = _furthest([*others, *(hit._replace(end=0) for hit in hits)])
    return [hit for hit in hits if furthest[hit.start + 1] < hit.end]


def _furthest(hits: Sequence[Found]) -> list[int]:
    """For each place, how far a phrase goes that starts before it."""
    size = max((hit.start for hit in hits), default=0) + 2
    best = [0] * size
    for hit in hits:
        best[hit.start + 1] = max(best[hit.start + 1], hit.end)
    for place in range(1, size):
        best[place] = max(best[place], best[place - 1])
    return best
