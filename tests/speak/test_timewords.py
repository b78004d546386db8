"""Times in the reader's zone, over clock changes.

Source: the IANA time zone database (https://www.iana.org/time-zones), release of the
installed tzdata: file ``europe`` (rule EU: last Sunday of March and October, 01:00 UTC; zone
Europe/London), ``northamerica`` (rule US from 2007: second Sunday of March, first Sunday of
November, 02:00 local) and ``australasia`` (Lord Howe: half an hour).
"""

from datetime import UTC, datetime

import pytest

from bot.speak.timewords import NotATime, local, time_of_day


def ms(text: str) -> str:
    return str(int(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp() * 1000))


@pytest.mark.parametrize(
    ("utc", "zone", "shown"),
    [
        ("2026-03-12T18:40:59", "Europe/London", "18:40"),
        ("2026-03-29T00:59:59", "Europe/London", "00:59"),
        ("2026-03-29T01:00:00", "Europe/London", "02:00"),  # 01:00 to 01:59 are not there
        ("2026-10-25T00:30:00", "Europe/London", "01:30"),  # the first 01:30
        ("2026-10-25T01:30:00", "Europe/London", "01:30"),  # and the second
        ("2026-03-08T06:59:00", "America/New_York", "01:59"),
        ("2026-03-08T07:00:00", "America/New_York", "03:00"),
        ("2026-11-01T05:59:00", "America/New_York", "01:59"),
        ("2026-11-01T06:00:00", "America/New_York", "01:00"),
        ("2026-07-01T12:00:00", "Asia/Kathmandu", "17:45"),
        ("2026-04-04T15:00:00", "Australia/Lord_Howe", "01:30"),  # from 02:00, by half an hour
        ("2026-07-01T12:00:00", "UTC", "12:00"),
    ],
)
def test_the_clock_on_the_wall(utc: str, zone: str, shown: str) -> None:
    assert time_of_day(ms(utc), zone) == shown


def test_the_day_is_the_sites_and_not_ours() -> None:
    assert local(ms("2026-03-12T23:30:00"), "Australia/Sydney").day == 13
    assert local(ms("2026-03-12T02:30:00"), "America/New_York").day == 11


def test_before_1970_and_far_ahead() -> None:
    assert local("-1", "UTC").year == 1969
    with pytest.raises(NotATime, match="outside the calendar"):
        local("999999999999999999", "UTC")


@pytest.mark.parametrize("name", ["", "Hollowmere", "../etc/passwd", "/etc/passwd", "Europe/"])
def test_what_is_no_zone(name: str) -> None:
    with pytest.raises(NotATime):
        time_of_day("0", name)
