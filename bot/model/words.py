"""Small questions about phrases found in one clause, shared by the parts of the reader."""

from collections.abc import Sequence

from bot.model.lexicon import Lexicon
from bot.model.phrases import Found
from bot.model.tokens import Clause


def not_inside(hits: Sequence[Found]) -> list[Found]:
    """Without those that lie within a longer one: "off" says nothing inside "on and off"."""
    return [hit for hit in hits if not any(_within(hit, other) for other in hits)]


def _within(hit: Found, other: Found) -> bool:
    longer = other.end - other.start > hit.end - hit.start
    return longer and other.start <= hit.start and hit.end <= other.end


def turned_round(hit: Found, signs: Sequence[Found], part: Clause, lexicon: Lexicon) -> bool:
    """Whether a word before the phrase turns it into its opposite: "not done", "no red"."""
    return any(
        sign.meaning == "negates"
        and sign.end <= hit.start
        and all(word in lexicon.negates_through for word in part.words[sign.end : hit.start])
        for sign in signs
    )


def left_over(part: Clause, taken: Sequence[Found], lexicon: Lexicon) -> list[str]:
    """The words of a clause that are neither taken nor fillers."""
    covered = {index for hit in taken for index in range(hit.start, hit.end)}
    fillers = [hit for hit in lexicon.alone.find(part.words) if hit.meaning == "filler"]
    covered |= {index for hit in fillers for index in range(hit.start, hit.end)}
    return [word for index, word in enumerate(part.words) if index not in covered]
