"""The runbook's cautions: what is said at which stage and printed on every sheet, and the rules
for sites that drive and for people who are alone.

They defer to local rules and licensed people; a runbook adds to them and takes nothing away.
"""

from collections.abc import Iterator
from functools import cached_property
from typing import Literal

from pydantic import Field

from bot.model.phrases import Phrases
from bot.model.runbook_stage import Minutes, Part
from bot.model.tokens import words_of

#: What a contact says of themselves that the cautions are about.
Saying = Literal["driving", "parked", "alone"]


class CheckIn(Part):
    """For somebody who is alone: how often a word of them is expected."""

    every: Minutes = Field(description="silent for longer, deputy or on-call is called")
    ask: bool = Field(default=False, description="ask everybody at the beginning who is with them")


class Cautions(Part):
    """Catalogue keys, each one short sentence."""

    sheet: tuple[str, ...] = Field(
        min_length=1, description="all of them, in the order in which the sheet prints them"
    )
    vehicle: tuple[str, ...] = Field(
        default=(), description="those of mobile branches alone, printed on their sheets first"
    )
    stages: dict[str, tuple[str, ...]] = Field(
        default_factory=dict,
        description="by stage: those said once when it is entered, below its first text",
    )
    apart: tuple[str, ...] = Field(
        default=(), description="stages whose text leaves no room: theirs are a message before it"
    )
    parked_within: Minutes = Field(
        default=30, description="how long a mobile branch may take to say that it is parked"
    )
    check_in: CheckIn | None = None
    words: dict[Saying, dict[str, tuple[str, ...]]] = Field(
        default_factory=dict,
        description="per language: phrases that say that they drive, are parked, are alone",
    )

    def at(self, stage: str) -> tuple[str, ...]:
        """What is said when that stage is entered."""
        return self.stages.get(stage, ())

    def on_sheet(self, *, vehicle: bool) -> tuple[str, ...]:
        """All that is printed for a site."""
        return (*self.vehicle, *self.sheet) if vehicle else self.sheet

    def texts(self) -> Iterator[str]:
        yield from (*self.sheet, *self.vehicle)
        for keys in self.stages.values():
            yield from keys

    @cached_property
    def _phrases(self) -> dict[Saying, tuple[Phrases, ...]]:
        return {
            what: tuple(Phrases({what: phrases}) for phrases in langs.values())
            for what, langs in self.words.items()
        }

    def says(self, what: Saying, said: str) -> bool:
        """Whether the words say so, in any language."""
        words = words_of(said)
        return any(phrases.find(words) for phrases in self._phrases.get(what, ()))


def problems(cautions: Cautions, stages: list[str]) -> Iterator[str]:
    """What a schema cannot say; each problem as one sentence."""
    printed = {*cautions.sheet, *cautions.vehicle}
    for stage, keys in cautions.stages.items():
        if stage not in stages:
            yield f"cautions: there is no stage {stage}"
        for key in keys:
            if key not in printed:
                yield f"cautions: {key} is said at stage {stage} but stands on no sheet"
    for stage in cautions.apart:
        if stage not in cautions.stages:
            yield f"cautions: stage {stage} stands apart but has none"
    for langs in cautions.words.values():
        for phrases in langs.values():
            if not phrases or not all(map(words_of, phrases)):
                yield "cautions: a phrase has no words"
