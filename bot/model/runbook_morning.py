"""A section of the runbook: the site is asked on the next morning whether everything works."""

from datetime import time
from functools import cached_property

from pydantic import Field

from bot.model.phrases import Phrases
from bot.model.runbook_stage import Minutes, Part
from bot.model.tokens import words_of

_Words = dict[str, tuple[str, ...]]


class MorningSection(Part):
    """Phrases are listed by language; ``word*`` begins so, ``~`` is up to three words."""

    remind: Minutes = Field(default=90, description="after so long without an answer: once more")
    give_up: Minutes = Field(default=120, description="after that: listed as unanswered")
    otherwise: time = Field(
        default=time(9), description="when to ask, Monday to Friday, where no hours are understood"
    )
    fine: _Words = Field(default_factory=dict, description="phrases that say: everything works")
    unless: _Words = Field(
        default_factory=dict, description="phrases that say, beside those: but not all of it"
    )

    @cached_property
    def _fine(self) -> tuple[Phrases, ...]:
        return tuple(Phrases({"fine": phrases}) for phrases in self.fine.values())

    @cached_property
    def _unless(self) -> tuple[Phrases, ...]:
        return tuple(Phrases({"unless": phrases}) for phrases in self.unless.values())

    def says_fine(self, said: str) -> bool:
        return _found(self._fine, said)

    def says_unless(self, said: str) -> bool:
        return _found(self._unless, said)

    def problems(self) -> list[str]:
        """Phrases without words, as a sentence each."""
        listed = (
            one for part in (self.fine, self.unless) for some in part.values() for one in some
        )
        return ["morning: a phrase has no words" for one in listed if not words_of(one)]


def _found(known: tuple[Phrases, ...], said: str) -> bool:
    words = words_of(said)
    return any(phrases.find(words) for phrases in known)
