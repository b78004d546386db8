"""Whose words these are, and what is understood in them."""

from dataclasses import dataclass

from bot.model.fact import Actor, Said
from bot.model.people import person_key, text_key
from bot.model.reader import read
from bot.model.reading import Heard, Reading
from bot.model.visit.state import Question
from bot.model.visit.turn import Turn

#: Readings that say nothing one could act on.
_VAGUE = frozenset(("unclear",))


@dataclass(frozen=True)
class Words:
    """What one message holds. ``text`` is where the words lie, among the personal data."""

    fact: Said
    readings: tuple[Reading, ...]
    text: str

    @property
    def first(self) -> Reading:
        """The worst of what was understood."""
        return self.readings[0]

    def has(self, *kinds: str) -> bool:
        return any(reading.kind in kinds for reading in self.readings)


def role_of(turn: Turn, actor: Actor) -> str:
    """``contact``, ``deputy``, ``oncall``, ``admin`` or ``stranger``, as to this visit."""
    visit = turn.visit
    if actor.user == visit.contact.user:
        return "contact"
    if visit.deputy is not None and actor.user == visit.deputy.user:
        return "deputy"
    if actor.oncall:
        return "oncall"
    return "admin" if actor.admin else "stranger"


def listen(turn: Turn, fact: Said) -> Words:
    """Read the words where they fell: under the open question."""
    text = f"{person_key(fact.actor.user)}:{text_key(fact.id)}"
    return Words(fact, (*_titles(turn, fact), *read_under(turn, fact, turn.visit.question)), text)


def _titles(turn: Turn, fact: Said) -> list[Reading]:
    """What a file is called is no answer, but it may tell of danger."""
    if not fact.files:
        return []
    lexicons = turn.context.lexicons
    titles = "\n".join(fact.files)
    heard = Heard(stage="")
    found = read(
        titles,
        heard,
        turn.context.book,
        turn.context.lexicon("en"),
        dangers=tuple(lexicons.values()),
    )
    return [reading for reading in found if reading.kind == "danger"]


def read_under(turn: Turn, fact: Said, question: Question | None) -> list[Reading]:
    """In the person's own language; where that gives nothing, in any other that gives something.

    Words of danger count in every language at once.
    """
    heard = Heard(
        stage=question.stage if question else "",
        ask=question.kind if question else None,
        answers=question.answers if question else (),
    )
    lexicons = turn.context.lexicons
    words = fact.words
    own = turn.context.lexicon(lang_of(turn, fact.actor.user))
    dangers = tuple(lexicons.values())
    found = read(words, heard, turn.context.book, own, dangers=dangers)
    if not _vague(found):
        return found
    for lexicon in lexicons.values():
        if lexicon is not own:
            other = read(words, heard, turn.context.book, lexicon, dangers=dangers)
            if not _vague(other) and not all(reading.ask for reading in other):
                return other
    return found


def lang_of(turn: Turn, user: str) -> str:
    person = turn.visit.person(user)
    return turn.visit.lang_of(person) if person is not None else "en"


def _vague(readings: list[Reading]) -> bool:
    return all(reading.kind in _VAGUE for reading in readings)
