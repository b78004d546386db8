"""A contact is released before the walk is over: the unit is watched, and nobody is asked.

By on-call or an admin, by order or button; or by the runbook's rule, where the contact has to go
and nothing of what is left needs hands. From then on what does not come in time calls on-call.
"""

import msgspec

from bot.model.event import Event
from bot.model.runbook import Runbook


class Release(msgspec.Struct, frozen=True, gc=False, omit_defaults=True):
    """``by``: chat user of the team, or ``rule``; ``until``: then a missing unit is called for."""

    at: int | None = None
    by: str = ""
    until: int | None = None


class Released(Event, frozen=True, tag="released"):
    by: str
    until: int


def hands_free(book: Runbook, stages: tuple[str, ...]) -> bool:
    """Whether all of these stages need nobody at the site."""
    leaving = book.leaving
    return leaving is not None and bool(stages) and set(stages) <= set(leaving.no_hands)
