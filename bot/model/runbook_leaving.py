"""A section of the runbook: what is done when a contact has to go before all is finished."""

from functools import cached_property
from typing import Literal

from pydantic import Field

from bot.model.phrases import GAP, Found, Phrases
from bot.model.runbook_stage import Minutes, Part
from bot.model.tokens import Clause, clauses, words_of

#: What somebody says of leaving: nothing, that they go, or that somebody else goes on.
Wish = Literal["", "going", "hand_over"]
#: The answers to whether somebody takes over, which are its buttons as well.
Choice = Literal["pass_on", "nobody", "stay"]
_Words = dict[str, tuple[str, ...]]


class Leaving(Part):
    """Phrases are listed by language; ``word*`` begins so, ``~`` is up to three words."""

    code: Minutes = Field(default=60, description="how long a code to take over is good")
    wait: Minutes = Field(
        default=20, description="nobody has taken over: after so long on-call is called"
    )
    no_hands: tuple[str, ...] = Field(
        default=(),
        description="stages that need nobody at the site: with no other left, they may go",
    )
    going: _Words = Field(default_factory=dict, description="phrases that say: I have to go")
    going_on: _Words = Field(
        default_factory=dict,
        description="words in or behind these that make something else of them",
    )
    hand_over: _Words = Field(
        default_factory=dict, description="phrases that say: somebody else takes over"
    )
    finishes: _Words = Field(
        default_factory=dict, description="what stands behind a name and says the same"
    )
    nobody: _Words = Field(
        default_factory=dict, description="words that name no person who could take over"
    )
    choices: dict[Choice, _Words] = Field(
        default_factory=dict,
        description="whole answers to whether somebody can take over, where they are typed",
    )

    @cached_property
    def _phrases(self) -> tuple[Phrases, ...]:
        langs = dict.fromkeys((*self.going, *self.hand_over, *self.finishes))
        return tuple(
            Phrases(
                {
                    "going": self.going.get(lang, ()),
                    "hand_over": self.hand_over.get(lang, ()),
                    "finishes": self.finishes.get(lang, ()),
                }
            )
            for lang in langs
        )

    @cached_property
    def _nobody(self) -> frozenset[str]:
        return _all_words(self.nobody)

    @cached_property
    def _going_on(self) -> frozenset[str]:
        return _all_words(self.going_on)

    def wish(self, said: str) -> Wish:
        """What the words say of leaving, in any language the runbook knows."""
        found: Wish = ""
        for clause in clauses(said):
            for phrases in self._phrases:
                for hit in phrases.find(clause.words):
                    if self._hands_over(clause, hit):
                        return "hand_over"
                    if hit.meaning == "going" and not self._goes_on(clause, hit):
                        found = "going"
        return found

    @cached_property
    def _choices(self) -> dict[tuple[str, ...], Choice]:
        return {
            tuple(words_of(one)): choice
            for choice, by_lang in self.choices.items()
            for some in by_lang.values()
            for one in some
        }

    def choice(self, said: str) -> Choice | None:
        """Which of the choices the words are, when they are nothing else."""
        return self._choices.get(tuple(words_of(said)))

    def _hands_over(self, clause: Clause, hit: Found) -> bool:
        """Whether somebody else is said to go on; a question is no such thing."""
        if hit.meaning == "hand_over":
            return True
        if hit.meaning != "finishes" or clause.asks:
            return False
        own = set(words_of(hit.phrase))
        inside = [word for word in clause.words[hit.start : hit.end] if word not in own]
        who = inside if GAP in hit.phrase and inside else clause.words[: hit.start][-1:]
        return bool(who) and not any(word in self._nobody for word in who)

    def _goes_on(self, clause: Clause, hit: Found) -> bool:
        near = clause.words[hit.start : hit.end + 1]
        own = set(words_of(hit.phrase))
        return any(word in self._going_on and word not in own for word in near)

    def problems(self, stages: list[str]) -> list[str]:
        """Stages that are not there, and phrases without words; each as one sentence."""
        missing = [name for name in self.no_hands if name not in stages]
        found = [f"leaving: there is no stage {name}" for name in missing]
        listed = [self.going, self.going_on, self.hand_over, self.finishes, self.nobody]
        listed += self.choices.values()
        phrases = (one for by_lang in listed for some in by_lang.values() for one in some)
        return [*found, *("leaving: a phrase has no words" for one in phrases if not words_of(one))]


def _all_words(listed: _Words) -> frozenset[str]:
    return frozenset(word for words in listed.values() for one in words for word in words_of(one))
