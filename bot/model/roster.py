"""Who is on call and who is admin, by whose turn. Pure: the settings give the table."""

from datetime import UTC, datetime, time
from typing import Literal
from zoneinfo import ZoneInfo

import msgspec

from bot.model.fact import Actor

Duty = Literal["oncall", "admin"]


class Turn(msgspec.Struct, frozen=True, gc=False):
    """Hours of one person on given weekdays, local to ``tz``; ``until`` may be past midnight."""

    days: frozenset[int]  # 0 is Monday
    since: time
    until: time
    tz: str = "UTC"

    def covers(self, at: int) -> bool:
        """Whether the instant ``at`` (ms UTC) lies in this turn."""
        local = datetime.fromtimestamp(at / 1000, UTC).astimezone(ZoneInfo(self.tz))
        clock = local.time().replace(tzinfo=None)
        if self.since < self.until:
            return local.weekday() in self.days and self.since <= clock < self.until
        yesterday = (local.weekday() - 1) % 7  # over midnight, or all day when equal
        return (local.weekday() in self.days and clock >= self.since) or (
            yesterday in self.days and clock < self.until
        )


class Way(msgspec.Struct, frozen=True, gc=False):
    """One way of reaching a person; ``wait`` (ms) is how long it has before the next is tried."""

    kind: Literal["chat", "mail", "webhook"]
    target: str = ""  # of a webhook: its name in the settings
    wait: int | None = None  # none: the ways of a person share the time of the call

    @property
    def name(self) -> str:
        return f"{self.kind}:{self.target}" if self.target else self.kind

    @property
    def shown(self) -> str:
        """As people call it."""
        return self.target or self.kind


class Staff(msgspec.Struct, frozen=True, gc=False):
    """One member of the team. ``rank`` orders the ladder of a call: smaller is asked first.

    ``ways``: how to reach them, the first to be tried first; none: chat, and mail with it.
    """

    user: str
    name: str
    duties: frozenset[Duty]
    turns: tuple[Turn, ...] = ()  # none: always
    mail: str = ""
    rank: int = 0
    ways: tuple[Way, ...] = ()
    tz: str = "UTC"

    def on_turn(self, at: int) -> bool:
        return not self.turns or any(turn.covers(at) for turn in self.turns)


class Roster(msgspec.Struct, frozen=True, gc=False):
    staff: tuple[Staff, ...] = ()

    def on_duty(self, duty: Duty, at: int) -> list[Staff]:
        """Those whose turn it is, first to be asked first; outside all turns, everyone of it."""
        all_of_duty = [s for s in self.staff if duty in s.duties]
        on_turn = [s for s in all_of_duty if s.on_turn(at)]
        return sorted(on_turn or all_of_duty, key=lambda s: (s.rank, s.user))

    @property
    def tested(self) -> bool:
        """Whether anybody has ways that are tested at the start of a shift."""
        return any(s.ways for s in self.staff)

    def staffed(self, at: int) -> bool:
        """Whether somebody's on-call turn covers ``at``."""
        return any("oncall" in s.duties and s.on_turn(at) for s in self.staff)

    def ladder(self, first: Duty, at: int) -> list[Staff]:
        """Whom a call climbs through: the first duty's people, then the other's, each once."""
        second: Duty = "admin" if first == "oncall" else "oncall"
        people = self.on_duty(first, at) + self.on_duty(second, at)
        return list({s.user: s for s in people}.values())

    def find(self, user: str) -> Staff | None:
        return next((s for s in self.staff if s.user == user), None)

    def name(self, user: str) -> str:
        """What a chat user is called; the account's own name for somebody who is not listed."""
        staff = self.find(user)
        return staff.name if staff else user

    def actor(self, user: str) -> Actor:
        """The chat user with the roles the roster gives; a stranger has none."""
        staff = self.find(user)
        duties = staff.duties if staff else frozenset()
        return Actor(user, oncall="oncall" in duties, admin="admin" in duties)
