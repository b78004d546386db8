"""The runbook's way back: to the old unit working again, and by when it must be begun."""

from collections.abc import Iterator
from typing import Literal

from pydantic import Field

from bot.model.runbook_stage import Minutes, Part, Stage

#: The answers of the last ask: whether the old unit works. Fixed, for the model looks at them.
WORKS, FAILS = "old_works", "old_fails"
#: Only what can be done without the new unit is asked on the way back.
_KINDS = ("confirm", "choice")

#: What is done at the latest time when nobody has decided.
WithoutAnswer = Literal["keep_calling", "back_out"]


class BackOut(Part):
    """How a site goes back to its old unit, step by step, each confirmed."""

    minutes: Minutes = Field(
        description="the walk back with time to spare; the change window's end less this is the "
        "latest time to begin it"
    )
    ask_ahead: Minutes = Field(
        default=30, description="so long before that time on-call is asked to decide"
    )
    without_answer: WithoutAnswer = Field(
        default="keep_calling",
        description="what is done at that time when nobody decided; by default nothing at the "
        "site, since a walk back that fails with nobody there is worse than waiting",
    )
    stages: tuple[Stage, ...] = Field(
        min_length=1, description="the last ask is whether the old unit works"
    )


def back_out_problems(back: BackOut, ids: list[str]) -> Iterator[str]:
    """What a schema cannot say; ``ids`` are those of the runbook's other stages."""
    for stage in back.stages:
        if stage.id in ids:
            yield f"back_out: stage {stage.id}: another stage has that id"
        if stage.waits_for_registration or stage.powered or stage.lights:
            yield f"back_out: stage {stage.id}: nothing waits for the new unit on the way back"
        for ask in stage.asks:
            if ask.kind not in _KINDS:
                yield f"back_out: stage {stage.id}: an ask is of kind {' or '.join(_KINDS)}"
        ids = [*ids, stage.id]
    last = back.stages[-1]
    if last.scope == "unit" or last.asks[-1].answers != (WORKS, FAILS):
        yield f"back_out: the last ask is a choice with the answers {WORKS} and {FAILS}"
