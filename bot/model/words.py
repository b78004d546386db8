"""One clause with everything a lexicon finds in it, and small questions about what was found.

People write without punctuation: a clause that runs on is cut where one of the lexicon's joining
words or questions begins, unless the words there belong together ("off and on").
"""

from collections import defaultdict
from collections.abc import Container, Iterable, Sequence
from functools import cached_property
from typing import Literal, get_args

from bot.model.lexicon import WHEN, Lexicon, Meaning
from bot.model.phrases import GAP, NUMBER, Found
from bot.model.runbook import AskKind
from bot.model.tokens import Clause, clauses, words_of

#: What a part begins with: nothing that joins, or a word for and, but, then.
Join = Literal["", "and", "but", "then"]


class Part:
    """A clause, and the phrases found in it, each group looked for at most once.

    ``join``: how it was joined to the part before. ``ask``: the kind of question that is open.
    """

    def __init__(
        self,
        clause: Clause,
        lexicon: Lexicon,
        join: Join = "",
        ask: AskKind | None = None,
    ) -> None:
        self.words = clause.words
        self.join = join
        self._ask = f"{ask or 'none'}{WHEN}"
        self.question_mark = clause.asks
        self._lexicon = lexicon

    @cached_property
    def signs(self) -> list[Found]:
        """What may stand anywhere in a clause: meanings, negations, hedges, questions."""
        return self._meant(self._lexicon.within.find(self.words))

    @cached_property
    def alone(self) -> list[Found]:
        """What a clause may say and nothing else; fillers left out."""
        return [hit for hit in self._alone if hit.meaning != "filler"]

    @cached_property
    def lights(self) -> list[Found]:
        return self._lexicon.lights.find(self.words)

    @cached_property
    def about_lights(self) -> list[Found]:
        """What it says about lights; coloured things and lost power left out."""
        hits = self.lights
        if not hits:
            return hits
        blinks = [hit for hit in hits if hit.meaning == "is:blinking"]
        power = outside([h for h in self.signs if h.meaning == "power_cycled"], blinks)
        things = {hit.start for hit in hits if hit.meaning == "thing"}
        lamps = [hit for hit in hits if hit.meaning == "light"]
        colours = [hit for hit in hits if hit.meaning.startswith("colour:")]
        longer = [hit for hit in hits if hit.end - hit.start > 1 and _is_plain(hit)]
        colours = outside([h for h in not_inside(colours) if h.end not in things], longer)
        rest = [hit for hit in hits if hit.meaning not in ("light", "thing")]
        rest = [hit for hit in not_inside(rest) if not hit.meaning.startswith("colour:")]
        rest = [hit for hit in rest if not any(overlap(hit, other) for other in power)]
        return lamps + colours + rest

    @cached_property
    def names_a_colour(self) -> bool:
        return any(hit.meaning.startswith("colour:") for hit in self.about_lights)

    @cached_property
    def tells_of_a_light(self) -> bool:
        """Whether it says what a light shows or does."""
        return any(hit.meaning.startswith(ABOUT_LIGHTS) for hit in self.about_lights)

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
    def means_more(self) -> bool:
        """Whether it means something beside being sure or not, asking or denying."""
        return any(hit.meaning in MEANINGS for hit in self.signs)

    @cached_property
    def asks(self) -> bool:
        """Whether it is a question: a question mark, or how it starts."""
        return self.question_mark or self.starts_asking

    @cached_property
    def starts_asking(self) -> bool:
        """Whether it is put as a question, with or without a mark."""
        first = min(self._unfilled, default=len(self.words))
        told = {hit.end for hit in self.signs if hit.meaning == "tells"}
        asks = [
            hit
            for hit in self.signs
            if hit.meaning == "asks"
            and hit.start <= first
            and not (hit.start in told and hit.end - hit.start > 1)
        ]
        if not asks:
            return False
        longer = [hit for hit in (*self.signs, *self._alone) if hit.meaning in _TELLS]
        return bool(outside(asks, longer))

    @cached_property
    def _alone(self) -> list[Found]:
        return self._meant(self._lexicon.alone.find(self.words))

    def _meant(self, hits: Sequence[Found]) -> list[Found]:
        """Without what means something only as the answer to another question."""
        return [
            hit if WHEN not in hit.meaning else hit._replace(meaning=hit.meaning.split(WHEN)[1])
            for hit in hits
            if WHEN not in hit.meaning or hit.meaning.startswith(self._ask)
        ]

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

    @cached_property
    def unexplained(self) -> int:
        """How many words no phrase accounts for, small words left out."""
        taken = covered((*self.signs, *self.lights, *self.times, *self.picks))
        small = self._lexicon.turning_words
        rest = (self.words[i] for i in self._unfilled if i not in taken)
        return sum(word not in small for word in rest)

    def turned_round(self, hit: Found, *, unreal: bool = True) -> bool:
        """Whether the phrase is turned into its opposite: "not done", "no red".

        ``unreal``: it is also if it is not so yet: "once it is done".
        """
        before, behind = self._reach if unreal else self._denied
        return before[hit.start] or behind[hit.end] or self._turned_inside(hit)

    def _turned_inside(self, hit: Found) -> bool:
        """Whether a negation stands in the phrase's gap: "have it *not* done"."""
        if GAP not in hit.phrase:
            return False
        own = words_of(hit.phrase)
        return any(
            sign.meaning in TURNING
            and hit.start < sign.start
            and sign.end <= hit.end
            and not set(self.words[sign.start : sign.end]) <= set(own)
            for sign in self.signs
        )

    def turned(self, hits: Sequence[Found]) -> list[bool]:
        """For each phrase, whether a negation reaches it; it goes over the others as well.

        A negation inside one of them ("not blinking") is spent there.
        """
        before, behind = self._reach_over(hits, TURNING)
        return [before[hit.start] or behind[hit.end] for hit in hits]

    def denies_before(self, hit: Found) -> bool:
        """Whether anything is denied earlier in the clause, outside the phrase itself."""
        signs = [sign for sign in self.signs if sign.meaning == "negates"]
        return any(sign.end <= hit.start for sign in signs)

    @cached_property
    def _reach(self) -> tuple[list[bool], list[bool]]:
        return self._reach_over((), TURNING)

    @cached_property
    def _denied(self) -> tuple[list[bool], list[bool]]:
        return self._reach_over((), TURNING - {"unreal"})

    def _reach_over(
        self, hits: Sequence[Found], kinds: Container[str]
    ) -> tuple[list[bool], list[bool]]:
        """For each place, whether a negation before it, or one behind it, reaches it."""
        size = len(self.words)
        hedges = [hit for hit in self.signs if hit.meaning == "hedges"]
        talk = [hit for hit in self.signs if hit.meaning == "small_talk"]  # "oh no"
        longer = [*hits, *hedges, *talk]
        signs = outside([hit for hit in self.signs if hit.meaning in kinds], longer)
        if not signs:
            return ([False] * (size + 1),) * 2
        over = covered(hits)
        flags = ["" if index in over else word for index, word in enumerate(self.words)]
        through, on = self._lexicon.turning_words, self._lexicon.linking_words
        ends = {hit.end for hit in signs if hit.meaning in ("negates", "unreal")}
        near = {hit.end for hit in signs if hit.meaning == "negates_next"}
        starts = {size - hit.start for hit in signs if hit.meaning == "negates_after"}
        before = _reach(flags, ends, through, on)
        next_to = _reach(flags, near, (), on)
        behind = _reach(flags[::-1], starts, through, on)[::-1]
        return [one or two for one, two in zip(before, next_to, strict=True)], behind


MEANINGS = frozenset(get_args(Meaning))
#: What a phrase must mean so that a question word inside it asks nothing: "that's what it says".
_TELLS = frozenset(
    ("yes", "no", "done", "help", "call_me", "stop", "pause", "small_talk", "other_time", "thanks")
)
#: Meanings of phrases that tell what a light shows or does.
ABOUT_LIGHTS = ("colour:", "is:", "rate:")
#: What turns round: a negation, one that reaches the next word only, one that stands behind, and
#: what says that something is not so yet: "when", "should be".
TURNING = frozenset(("negates", "negates_next", "negates_after", "unreal"))


def parts_of(text: str, lexicon: Lexicon, ask: AskKind | None = None) -> list[Part]:
    """The clauses of a text, those that run on cut where a new thing begins."""
    return [part for clause in clauses(text) for part in _cut(clause, lexicon, ask)]


def _cut(clause: Clause, lexicon: Lexicon, ask: AskKind | None) -> list[Part]:
    cuts = _cuts(clause.words, lexicon)
    starts = sorted(cuts)
    made: list[Part] = []
    for place, end in zip(starts, [*starts[1:], len(clause.words)], strict=True):
        last = end == len(clause.words)
        piece = Clause(clause.words[place:end], clause.asks and last)
        made.append(Part(piece, lexicon, cuts[place], ask))
    return made


def _cuts(words: Sequence[str], lexicon: Lexicon) -> dict[int, Join]:
    """Where the clause is cut, and what joins each piece to the one before."""
    cuts: dict[int, Join] = {0: ""}
    hits = lexicon.seams.find(words)
    if not hits:
        return cuts
    bound = [hit for hit in hits if hit.meaning == "bound"]
    ends: dict[int, int] = {}  # where a cut that has just been made is over, and its place
    inside = {place for hit in bound for place in range(hit.start + 1, hit.end)}
    for hit in not_inside([hit for hit in hits if hit.meaning != "bound" and hit.exact]):
        if hit.meaning == "behind":
            if hit.end < len(words) and hit.start not in inside:
                cuts.setdefault(hit.end, "")
        elif hit.start not in inside and (hit.end < len(words) or hit.meaning == "cut"):
            if hit.start in ends:  # "but how": one cut, before both
                cuts[ends[hit.start]] = cuts[ends[hit.start]] or _join(hit.meaning)
            else:
                cuts[hit.start] = _join(hit.meaning)
                ends[hit.end] = hit.start
    return cuts


def _join(meaning: str) -> Join:
    kinds: dict[str, Join] = {"join:and": "and", "join:but": "but", "join:then": "then"}
    return kinds.get(meaning, "")


def _is_plain(hit: Found) -> bool:
    """Whether it is no colour, and has no gap or number that words of another may stand in."""
    gaps = GAP in hit.phrase or NUMBER in hit.phrase
    return not gaps and not hit.meaning.startswith("colour:")


def covered(hits: Iterable[Found]) -> set[int]:
    """The places of all words in these phrases."""
    return {index for hit in hits for index in range(hit.start, hit.end)}


def reach(words: Sequence[str], ends: Container[int], through: Container[str]) -> list[bool]:
    """For each place, whether a word that ends before it reaches it over small words only."""
    reached = [0 in ends]
    for index, word in enumerate(words):
        reached.append(index + 1 in ends or (reached[index] and word in through))
    return reached


def _reach(
    words: Sequence[str], ends: Container[int], through: Container[str], on: Container[str]
) -> list[bool]:
    """As ``reach``; phrases are empty words, and behind one only a word of ``on`` goes further.

    "Not green or white", but "not green it is red".
    """
    reached = [0 in ends]
    behind = False
    for index, word in enumerate(words):
        fresh = index + 1 in ends
        behind = not fresh and (behind or not word)
        goes = reached[index] and (not word or word in on or (not behind and word in through))
        reached.append(fresh or goes)
        behind = behind and reached[-1]
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
