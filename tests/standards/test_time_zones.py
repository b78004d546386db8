"""Our use of wall times against the IANA time zone database.

Every instant is written out by hand in UTC, from the database's rule that is named beside it (from
memory), and not computed with the library that the program uses. The last part counts the rules'
Sundays itself, for years ahead.
"""

# ruff: noqa: DTZ001 - wall times without their zone are what is tested

from datetime import UTC, date, datetime, time, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.model.policy import Policy, out_of_quiet
from bot.model.roster import Turn
from bot.model.visit.clock import clock_time
from bot.plan import zones
from bot.plan.problem import Refused
from bot.speak.timewords import time_of_day

QUIET = Policy(quiet_from=time(20, 30), quiet_until=time(8, 0))


def utc(text: str) -> int:
    """``2026-03-29 00:59`` in UTC as milliseconds."""
    return int(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()) * 1000


#: Zone, wall time there, the same in UTC.
PLAIN = [
    # Rule EU: last Sunday of March and of October at 1:00 UTC; 29 March and 25 October in 2026.
    ("Europe/London", "2026-03-29 00:59", "2026-03-29 00:59"),
    ("Europe/London", "2026-03-29 02:00", "2026-03-29 01:00"),
    ("Europe/London", "2026-10-25 00:59", "2026-10-24 23:59"),
    ("Europe/London", "2026-10-25 02:00", "2026-10-25 02:00"),
    ("Europe/Helsinki", "2026-03-29 04:00", "2026-03-29 01:00"),
    ("Europe/Helsinki", "2026-10-25 02:59", "2026-10-24 23:59"),
    # Europe/Dublin counts winter as the saved time; the clocks are those of London.
    ("Europe/Dublin", "2026-07-01 18:00", "2026-07-01 17:00"),
    ("Europe/Dublin", "2026-12-01 18:00", "2026-12-01 18:00"),
    # Rule US: second Sunday of March, first of November, at 2:00 on the clock; 8 March, 1 November.
    ("America/New_York", "2026-03-08 01:59", "2026-03-08 06:59"),
    ("America/New_York", "2026-03-08 03:00", "2026-03-08 07:00"),
    ("America/Los_Angeles", "2026-11-01 02:00", "2026-11-01 10:00"),
    # Rule AN: first Sunday of April and of October at 2:00 standard time; 5 April, 4 October.
    ("Australia/Sydney", "2026-01-15 18:00", "2026-01-15 07:00"),
    ("Australia/Sydney", "2026-07-15 18:00", "2026-07-15 08:00"),
    ("Australia/Sydney", "2026-10-04 03:00", "2026-10-03 16:00"),
    # Rule NZ: last Sunday of September, first of April, 2:45 standard time on Chatham (+12:45).
    ("Pacific/Chatham", "2026-07-01 18:00", "2026-07-01 05:15"),
    ("Pacific/Chatham", "2026-12-01 18:00", "2026-12-01 04:15"),
    # Rule LH: half an hour only, +10:30 and +11, at 2:00 on the days of rule AN.
    ("Australia/Lord_Howe", "2026-07-01 18:00", "2026-07-01 07:30"),
    ("Australia/Lord_Howe", "2026-10-04 01:59", "2026-10-03 15:29"),
    ("Australia/Lord_Howe", "2026-10-04 02:30", "2026-10-03 15:30"),
    # Rule Troll: two hours in summer.
    ("Antarctica/Troll", "2026-07-01 18:00", "2026-07-01 16:00"),
    ("Antarctica/Troll", "2026-12-01 18:00", "2026-12-01 18:00"),
    # Offsets that are no whole hours, the whole year: +5:30, +5:45, +6:30, +8:45.
    ("Asia/Kolkata", "2026-07-01 18:00", "2026-07-01 12:30"),
    ("Asia/Kathmandu", "2026-07-01 18:00", "2026-07-01 12:15"),
    ("Asia/Yangon", "2026-07-01 18:00", "2026-07-01 11:30"),
    ("Australia/Eucla", "2026-12-01 18:00", "2026-12-01 09:15"),
    # Rule Canada on a half hour: -3:30, in summer -2:30.
    ("America/St_Johns", "2026-07-01 18:00", "2026-07-01 20:30"),
    # Zones that changed their rules: Mexico left summer time in 2022, Jordan stayed on it in 2022,
    # Turkey in 2016, Brazil left it in 2019, Samoa in 2021, eastern Kazakhstan moved in 2024.
    ("America/Mexico_City", "2022-07-01 18:00", "2022-07-01 23:00"),
    ("America/Mexico_City", "2026-07-01 18:00", "2026-07-02 00:00"),
    ("Asia/Amman", "2021-12-01 18:00", "2021-12-01 16:00"),
    ("Asia/Amman", "2026-12-01 18:00", "2026-12-01 15:00"),
    ("Europe/Istanbul", "2026-12-01 18:00", "2026-12-01 15:00"),
    ("America/Sao_Paulo", "2018-12-01 18:00", "2018-12-01 20:00"),
    ("America/Sao_Paulo", "2026-12-01 18:00", "2026-12-01 21:00"),
    ("Pacific/Apia", "2020-12-01 18:00", "2020-12-01 04:00"),
    ("Pacific/Apia", "2026-12-01 18:00", "2026-12-01 05:00"),
    ("Asia/Almaty", "2023-12-01 18:00", "2023-12-01 12:00"),
    ("Asia/Almaty", "2026-12-01 18:00", "2026-12-01 13:00"),
    # Rule Morocco: +1, but +0 in Ramadan, 15 February to 22 March in 2026.
    ("Africa/Casablanca", "2026-03-01 18:00", "2026-03-01 18:00"),
    ("Africa/Casablanca", "2026-06-01 18:00", "2026-06-01 17:00"),
    # The far ends of the day line: +14, -11, and -10 next to them.
    ("Pacific/Kiritimati", "2026-06-01 18:00", "2026-06-01 04:00"),
    ("Pacific/Pago_Pago", "2026-06-01 18:00", "2026-06-02 05:00"),
    ("Pacific/Honolulu", "2026-06-01 18:00", "2026-06-02 04:00"),
]


@pytest.mark.parametrize(("tz", "wall", "instant"), PLAIN)
def test_a_wall_time_is_one_instant_and_is_said_as_it_was_written(
    tz: str, wall: str, instant: str
) -> None:
    assert zones.instant(zones.wall(wall), tz) == utc(instant)
    assert time_of_day(str(utc(instant)), tz) == wall[-5:]
    assert clock_time(utc(instant), wall[-5:], tz) == utc(instant)


@pytest.mark.parametrize(
    ("tz", "wall"),
    [
        ("Europe/London", "2026-03-29 01:30"),  # rule EU
        ("America/New_York", "2026-03-08 02:30"),  # rule US
        ("Australia/Sydney", "2026-10-04 02:30"),  # rule AN
        ("Australia/Lord_Howe", "2026-10-04 02:15"),  # rule LH: 2:00 to 2:30
        ("Pacific/Chatham", "2026-09-27 03:00"),  # rule NZ: 2:45 to 3:45 on Chatham
        ("Antarctica/Troll", "2026-03-29 02:59"),  # rule Troll: 1:00 to 3:00
    ],
)
def test_a_wall_time_in_the_gap_is_refused(tz: str, wall: str) -> None:
    with pytest.raises(Refused, match="does not exist"):
        zones.instant(zones.wall(wall), tz)


#: Zone, a wall time that comes twice, both in UTC.
TWICE = [
    ("Europe/London", "2026-10-25 01:30", "2026-10-25 00:30", "2026-10-25 01:30"),  # rule EU
    ("America/New_York", "2026-11-01 01:30", "2026-11-01 05:30", "2026-11-01 06:30"),  # rule US
    ("Australia/Sydney", "2026-04-05 02:30", "2026-04-04 15:30", "2026-04-04 16:30"),  # rule AN
    # Rule LH: 2:00 (+11) becomes 1:30 (+10:30).
    ("Australia/Lord_Howe", "2026-04-05 01:45", "2026-04-04 14:45", "2026-04-04 15:15"),
]


@pytest.mark.parametrize(("tz", "wall", "first", "second"), TWICE)
def test_a_wall_time_that_comes_twice_is_refused_and_either_is_said_alike(
    tz: str, wall: str, first: str, second: str
) -> None:
    with pytest.raises(Refused, match="happens twice"):
        zones.instant(zones.wall(wall), tz)
    assert time_of_day(str(utc(first)), tz) == time_of_day(str(utc(second)), tz) == wall[-5:]


@pytest.mark.parametrize(("tz", "wall", "first", "second"), TWICE)
def test_a_clock_time_asked_for_is_the_next_one(
    tz: str, wall: str, first: str, second: str
) -> None:
    minute = 60_000
    assert clock_time(utc(first) - 5 * minute, wall[-5:], tz) == utc(first)
    # Said between the two, the second is meant and not tomorrow's.
    assert clock_time(utc(first) + 5 * minute, wall[-5:], tz) == utc(second)


@pytest.mark.parametrize(
    ("tz", "at", "until"),
    [
        # Quiet from 20:30 to 8:00 by the site's clock. Rule EU: the nights of the changes are an
        # hour shorter and longer.
        ("Europe/London", "2026-03-28 20:30", "2026-03-29 07:00"),
        ("Europe/London", "2026-10-24 19:30", "2026-10-25 08:00"),
        ("Europe/London", "2026-03-29 00:30", "2026-03-29 07:00"),
        ("Europe/London", "2026-10-25 01:30", "2026-10-25 08:00"),
        # Rule US, rule AN, rule LH.
        ("America/New_York", "2026-03-08 02:00", "2026-03-08 12:00"),
        ("Australia/Sydney", "2026-10-03 11:00", "2026-10-03 21:00"),
        ("Australia/Lord_Howe", "2026-10-03 11:00", "2026-10-03 21:00"),
        # +5:45.
        ("Asia/Kathmandu", "2026-07-01 15:00", "2026-07-02 02:15"),
    ],
)
def test_quiet_hours_end_by_the_sites_clock(tz: str, at: str, until: str) -> None:
    assert out_of_quiet(utc(at), tz, QUIET) == utc(until)
    assert out_of_quiet(utc(until), tz, QUIET) == utc(until)


@pytest.mark.parametrize(
    ("tz", "at"),
    [
        ("Europe/London", "2026-03-28 20:29"),  # 20:29 by winter's clock
        ("Europe/London", "2026-03-29 19:29"),  # 20:29 by summer's
        ("Asia/Kathmandu", "2026-07-01 02:15"),  # 8:00
    ],
)
def test_outside_quiet_hours_nothing_waits(tz: str, at: str) -> None:
    assert out_of_quiet(utc(at), tz, QUIET) == utc(at)


def test_a_turn_over_the_night_of_the_change_covers_both_readings_of_an_hour() -> None:
    # Rule EU: 1:30 comes twice in London on 25 October 2026, a Sunday; the turn began on Saturday.
    night = Turn(frozenset({5}), time(22), time(6), "Europe/London")
    covered = {"2026-10-24 21:00", "2026-10-25 00:30", "2026-10-25 01:30", "2026-10-25 05:59"}
    assert all(night.covers(utc(at)) for at in covered)
    assert not night.covers(utc("2026-10-25 06:00"))
    assert not night.covers(utc("2026-10-24 20:59"))


# --- the rules, counted here ---------------------------------------------------------------


def sunday(year: int, month: int, number: int) -> date:
    """The number-th Sunday of a month; 0 is the last."""
    if number:
        first = date(year, month, 1)
        return first + timedelta(days=(6 - first.weekday()) % 7 + 7 * (number - 1))
    following = date(year + month // 12, month % 12 + 1, 1)
    return following - timedelta(days=(following.weekday() + 1) % 7 or 7)


def london(at: datetime) -> int:
    """Rule EU: an hour ahead from the last Sunday of March to that of October, 1:00 UTC."""
    one = time(1)
    summer = (
        datetime.combine(sunday(at.year, 3, 0), one)
        <= at
        < datetime.combine(sunday(at.year, 10, 0), one)
    )
    return 60 if summer else 0


def new_york(at: datetime) -> int:
    """Rule US: from the second Sunday of March, 7:00 UTC, to the first of November, 6:00 UTC."""
    begins = datetime.combine(sunday(at.year, 3, 2), time(7))
    ends = datetime.combine(sunday(at.year, 11, 1), time(6))
    return -240 if begins <= at < ends else -300


def lord_howe(at: datetime) -> int:
    """Rule LH, 2:00 on the clock: first Sunday of April (+11), first of October (+10:30)."""
    ends = datetime.combine(sunday(at.year, 4, 1), time(2)) - timedelta(hours=11)
    begins = datetime.combine(sunday(at.year, 10, 1), time(2)) - timedelta(hours=10, minutes=30)
    return 630 if ends <= at < begins else 660


RULES = {
    "Europe/London": london,
    "America/New_York": new_york,
    "Australia/Lord_Howe": lord_howe,
}
#: Rule US is as here from 2007, rule LH from 2008; the database foresees no end of either.
YEARS = st.datetimes(datetime(2009, 1, 1), datetime(2037, 12, 31))


@given(YEARS, st.sampled_from(sorted(RULES)))
def test_clocks_show_what_the_rules_say(at: datetime, tz: str) -> None:
    at = at.replace(second=0, microsecond=0)
    shown = at + timedelta(minutes=RULES[tz](at))
    millis = int(at.replace(tzinfo=UTC).timestamp()) * 1000
    assert time_of_day(str(millis), tz) == shown.strftime("%H:%M")
    assert zones.local_date(millis, tz) == shown


@given(YEARS, st.sampled_from(sorted(RULES)))
def test_an_instant_written_down_is_read_back_or_refused_as_double(at: datetime, tz: str) -> None:
    at = at.replace(second=0, microsecond=0)
    millis = int(at.replace(tzinfo=UTC).timestamp()) * 1000
    shown = at + timedelta(minutes=RULES[tz](at))
    # The same clock time comes again where the rule counts back within the hours around it.
    near = [at + timedelta(minutes=m) for m in (-60, -30, 30, 60)]
    twice = any(n + timedelta(minutes=RULES[tz](n)) == shown for n in near)
    written = zones.wall(shown.strftime("%Y-%m-%d %H:%M"))
    if twice:
        with pytest.raises(Refused, match="happens twice"):
            zones.instant(written, tz)
    else:
        assert zones.instant(written, tz) == millis
