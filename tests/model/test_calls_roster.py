"""By whose turn: hours of the site's team, over midnight and over a change of the clock."""

from datetime import time

from bot.model.roster import Duty, Roster, Staff, Turn
from tests.model.kit import clock

WEEK = frozenset(range(7))


def staff(user: str, duty: Duty, *turns: Turn, rank: int = 0) -> Staff:
    return Staff(user, user.title(), frozenset({duty}), turns, rank=rank)


def test_a_turn_over_midnight_belongs_to_the_day_it_began() -> None:
    turn = Turn(frozenset({4}), time(20), time(6), "Europe/London")  # Friday night
    assert turn.covers(clock("2026-10-23 20:00"))
    assert turn.covers(clock("2026-10-24 05:59"))
    assert not turn.covers(clock("2026-10-24 06:00"))
    assert not turn.covers(clock("2026-10-24 21:00"))


def test_a_turn_keeps_its_wall_times_when_the_clock_changes() -> None:
    """London leaves summer time on 25 October 2026 at 02:00 (IANA, Europe/London)."""
    turn = Turn(WEEK, time(1), time(3), "Europe/London")
    assert turn.covers(clock("2026-10-25 01:30"))
    assert turn.covers(clock("2026-10-25 01:30") + 3_600_000)  # 01:30 for the second time
    assert not turn.covers(clock("2026-10-25 01:30") + 2 * 3_600_000 + 1_800_000)


def test_whose_turn_it_is_comes_first_and_outside_all_turns_everyone() -> None:
    day = Turn(WEEK, time(8), time(20), "Europe/London")
    night = Turn(WEEK, time(20), time(8), "Europe/London")
    roster = Roster((staff("ada", "oncall", day), staff("bo", "oncall", night)))
    noon, late = clock("2026-10-20 12:00"), clock("2026-10-20 23:00")
    assert [s.user for s in roster.on_duty("oncall", noon)] == ["ada"]
    assert [s.user for s in roster.on_duty("oncall", late)] == ["bo"]
    only_days = Roster((staff("ada", "oncall", day), staff("cy", "oncall", day, rank=1)))
    assert [s.user for s in only_days.on_duty("oncall", late)] == ["ada", "cy"]
    assert not only_days.staffed(late)
    assert only_days.staffed(noon)


def test_a_ladder_names_everyone_once() -> None:
    both = Staff("ada", "Ada", frozenset({"oncall", "admin"}))
    roster = Roster((both, staff("bo", "admin", rank=1)))
    assert [s.user for s in roster.ladder("oncall", 0)] == ["ada", "bo"]


def test_roles_come_from_the_roster_alone() -> None:
    roster = Roster((staff("ada", "oncall"), staff("bo", "admin")))
    assert (roster.actor("ada").oncall, roster.actor("ada").admin) == (True, False)
    assert (roster.actor("bo").oncall, roster.actor("bo").admin) == (False, True)
    assert (roster.actor("eve").oncall, roster.actor("eve").admin) == (False, False)
