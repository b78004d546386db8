"""The runbook's section about old units that are sent back, and boxes that come damaged."""

from collections.abc import Iterator
from functools import cached_property

from pydantic import Field

from bot.model.phrases import Phrases
from bot.model.runbook_stage import Part
from bot.model.tokens import words_of


class Returns(Part):
    """Old units are sent back, and reminded of kindly."""

    remind_days: tuple[float, ...] = Field(
        default=(5, 7, 7),
        min_length=1,
        description="days to each reminder of the site; after the last one the admins are told",
    )
    damaged: dict[str, tuple[str, ...]] = Field(
        default_factory=dict,
        description="per language: phrases that say, before it is plugged in, that it is damaged",
    )

    @cached_property
    def _damaged(self) -> tuple[Phrases, ...]:
        return tuple(Phrases({"damaged": phrases}) for phrases in self.damaged.values())

    def says_damaged(self, said: str) -> bool:
        """Whether the words say in any language that a box is damaged."""
        words = words_of(said)
        return any(phrases.find(words) for phrases in self._damaged)

    def problems(self) -> Iterator[str]:
        """What a schema cannot say."""
        if any(days <= 0 for days in self.remind_days):
            yield "returns: remind_days: each is longer than nothing"
        for listed in self.damaged.values():
            if not listed or not all(map(words_of, listed)):
                yield "returns: a phrase has no words"
