"""When a person's shift is: one occurrence of one of their turns. Instants are ms UTC."""

from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

from bot.model.policy import Policy
from bot.model.roster import Roster, Staff, Turn

_EVERY_DAY = frozenset(range(7))


class Shift(NamedTuple):
    since: int
    until: int


def shift_at(staff: Staff, at: int, policy: Policy) -> Shift | None:
    """The shift of theirs that covers ``at``; where several do, the one that ends last.

    Else what was confirmed would be over with a short turn inside a long one, which goes on.
    """
    found = [s for s in _around(staff, at, policy) if s.since <= at < s.until]
    return max(found, key=lambda s: (s.until, s.since), default=None)


def next_start(roster: Roster, after: int, policy: Policy) -> int | None:
    """When the next shift begins of anybody whose ways are tested."""
    starts = [
        shift.since
        for staff in roster.staff
        if staff.ways
        for shift in _around(staff, after, policy)
        if shift.since > after
    ]
    return min(starts, default=None)


def _around(staff: Staff, at: int, policy: Policy) -> Iterator[Shift]:
    """Their shifts from the day before ``at`` to a week after. Without hours: one each day."""
    always = Turn(_EVERY_DAY, policy.test_at, policy.test_at, staff.tz)
    for turn in staff.turns or (always,):
        today = datetime.fromtimestamp(at / 1000, UTC).astimezone(ZoneInfo(turn.tz)).date()
        for ahead in range(-1, 8):
            day = today + timedelta(days=ahead)
            if day.weekday() in turn.days:
                yield _on(turn, day)


def _on(turn: Turn, day: date) -> Shift:
    last = day if turn.since < turn.until else day + timedelta(days=1)
    return Shift(_instant(turn, day, turn.since), _instant(turn, last, turn.until))


def _instant(turn: Turn, day: date, clock: time) -> int:
    return int(datetime.combine(day, clock, ZoneInfo(turn.tz)).timestamp() * 1000)
