"""The morning after: whether the site says that everything works. Its state, and what it means."""

from typing import TYPE_CHECKING, Literal

import msgspec

if TYPE_CHECKING:
    from bot.model.visit.state import Visit

Answer = Literal["", "yes", "no", "unanswered"]


class Morning(msgspec.Struct, frozen=True, gc=False, omit_defaults=True):
    """``due`` is the next instant at which something is to be done about it (ms)."""

    due: int | None = None
    hours_known: bool = True  # the site list's opening hours gave the time
    made: int = 0  # questions so far, for their ids
    asked_at: int | None = None
    reminded: bool = False
    told_bad: bool = False  # that it has not registered yet
    answer: Answer = ""
    answered_at: int | None = None
    by: str = ""  # who of the site answered
    call: str = ""  # made because something does not work

    @property
    def id(self) -> str:
        """Names the question that its buttons belong to."""
        return f"m{self.made}"


def reopened(visit: "Visit") -> bool:
    """Whether the site has said that something does not work, and nobody has closed that."""
    call = visit.call(visit.morning.call) if visit.morning.call else None
    return call is not None and call.open


def morning_passed(visit: "Visit") -> bool:
    """Whether the site has said on a morning after that everything works, and that stands."""
    return visit.morning.answer == "yes" and not reopened(visit)
