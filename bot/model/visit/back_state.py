"""How a visit stands with going back to the old unit. Instants are milliseconds of wave time."""

from typing import Literal

import msgspec


class BackedOut(msgspec.Struct, frozen=True, omit_defaults=True):
    """An evening that ended with the old unit, kept when the visit was planned anew."""

    at: int
    why: str
    by: str


class Back(msgspec.Struct, frozen=True, omit_defaults=True):
    """The default means: nobody was asked, and nothing was walked back."""

    call: str = ""  # the call that asks whether to go on or to back out
    latest: int | None = None  # that call's latest time for an answer
    late: bool = False  # that time passed without one
    decided: Literal["", "go_on", "back_out"] = ""
    by: str = ""  # who decided; empty: nobody did, the runbook says so
    until: int | None = None  # go on: asked again then
    why: str = ""  # catalogue key: why it was backed out
    walking: bool = False  # the site is being walked back
    since: int | None = None  # when that began
    from_step: int = 0  # where the visit stood before it
    from_ask: int = 0
    failed_at: int | None = None  # the old unit does not work
    done_at: int | None = None  # backed out
    watch_at: int | None = None  # without its line, and nobody called: looked at again then
    past: tuple[BackedOut, ...] = ()  # evenings before this one

    @property
    def out(self) -> bool:
        """Whether the new units are being taken out of service, or have been."""
        return self.walking or self.done_at is not None

    def renewed(self) -> "Back":
        """For a new plan: what was, is kept for the record; a way back that was left halfway too,
        for the new units were being taken out."""
        past = self.past
        if self.out:
            at = self.since if self.done_at is None else self.done_at
            past = (*past, BackedOut(at or 0, self.why, self.by))
        return Back(past=past, watch_at=self.watch_at)
