"""Zones and clock changes. Every case is one of the IANA time zone database, named beside it."""

# ruff: noqa: DTZ001 - wall time without its zone is what is tested

from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.plan import zones
from bot.plan.problem import Refused
from tests.plan.support import expect, only, read_rows, row


def utc(*parts: int) -> int:
    return int(datetime(*parts, tzinfo=UTC).timestamp()) * 1000  # type: ignore[arg-type, misc]


@pytest.mark.parametrize(
    ("tz", "start", "instant"),
    [
        # IANA: Europe/London is UTC in winter, UTC+1 in summer.
        ("Europe/London", "2026-03-12 18:00", utc(2026, 3, 12, 18)),
        ("Europe/London", "2026-07-14 18:00", utc(2026, 7, 14, 17)),
        # IANA: Asia/Kathmandu is UTC+5:45 all year.
        ("Asia/Kathmandu", "2026-03-12T18:00", utc(2026, 3, 12, 12, 15)),
        # IANA: America/St_Johns is UTC-2:30 in summer.
        ("America/St_Johns", "2026-07-14 18:00:30", utc(2026, 7, 14, 20, 30, 30)),
        # IANA: Pacific/Apia is UTC+13.
        ("Pacific/Apia", "2026-03-12 18:00", utc(2026, 3, 12, 5)),
        ("Europe/London", "2026-07-14 17:00Z", utc(2026, 7, 14, 17)),
        ("Europe/London", "2026-07-14 18:00 +0100", utc(2026, 7, 14, 17)),
        ("Europe/London", "2026-07-14 18:00+01", utc(2026, 7, 14, 17)),
        ("America/New_York", "2026-07-14 18:00\u221204:00", utc(2026, 7, 14, 22)),
    ],
)
def test_wall_time_to_instant(tmp_path: Path, tz: str, start: str, instant: int) -> None:
    parsed = read_rows(tmp_path, row(tz=tz, start=start))
    assert not parsed.problems
    assert parsed.sites[0].start == instant


@pytest.mark.parametrize(
    ("tz", "start", "later"),
    [
        # IANA: Europe/London goes from 01:00 to 02:00 on 2026-03-29.
        ("Europe/London", "2026-03-29 01:30", "2026-03-29 02:00"),
        ("Europe/London", "2026-03-29 01:00", "2026-03-29 02:00"),
        # IANA: America/New_York goes from 02:00 to 03:00 on 2026-03-08.
        ("America/New_York", "2026-03-08 02:59", "2026-03-08 03:00"),
        # IANA: Australia/Lord_Howe changes by half an hour, 02:00 to 02:30 on 2026-10-04.
        ("Australia/Lord_Howe", "2026-10-04 02:10", "2026-10-04 02:30"),
        # IANA: Pacific/Apia left out the whole of 2011-12-30.
        ("Pacific/Apia", "2011-12-30 12:00", "2011-12-31 00:00"),
    ],
)
def test_a_start_that_does_not_exist(tmp_path: Path, tz: str, start: str, later: str) -> None:
    parsed = read_rows(tmp_path, row(tz=tz, start=start))
    expect(only(parsed.problems), 2, "start", start, f"does not exist in {tz}", f"write {later},")


@pytest.mark.parametrize(
    ("tz", "start", "first", "second"),
    [
        # IANA: Europe/London goes from 02:00 back to 01:00 on 2026-10-25.
        ("Europe/London", "2026-10-25 01:30", "2026-10-25 01:30+01:00", "2026-10-25 01:30+00:00"),
        ("Europe/London", "2026-10-25 01:00", "2026-10-25 01:00+01:00", "2026-10-25 01:00+00:00"),
        # IANA: America/New_York goes from 02:00 back to 01:00 on 2026-11-01.
        ("America/New_York", "2026-11-01 01:15", "2026-11-01 01:15-04:00",
         "2026-11-01 01:15-05:00"),
    ],
)  # fmt: skip
def test_a_start_that_happens_twice(
    tmp_path: Path, tz: str, start: str, first: str, second: str
) -> None:
    parsed = read_rows(tmp_path, row(tz=tz, start=start))
    expect(
        only(parsed.problems),
        2,
        "start",
        start,
        f"happens twice in {tz}",
        f"write {first} for the first or {second} for the second",
    )
    # What the remedy says is accepted, and the two are an hour apart.
    starts = [read_rows(tmp_path, row(tz=tz, start=one)).sites[0].start for one in (first, second)]
    assert starts[0] is not None
    assert starts[1] == starts[0] + 3_600_000


@pytest.mark.parametrize("start", ["2026-03-29 00:59", "2026-03-29 02:00", "2026-10-25 00:59",
                                   "2026-10-25 02:00"])  # fmt: skip
def test_the_minutes_beside_a_clock_change_are_plain(tmp_path: Path, start: str) -> None:
    assert not read_rows(tmp_path, row(start=start)).problems  # IANA: Europe/London, as above


def test_an_offset_the_zone_does_not_have(tmp_path: Path) -> None:
    # IANA: Europe/London is UTC+1 on this day.
    parsed = read_rows(tmp_path, row(start="2026-07-14 18:00+02:00"))
    expect(
        only(parsed.problems),
        2,
        "start",
        "2026-07-14 18:00+02:00",
        "offset that Europe/London does not have",
        "write 2026-07-14 17:00+01:00",
    )


def test_an_offset_does_not_bring_the_lost_hour_back(tmp_path: Path) -> None:
    # IANA: Europe/London, the gap of 2026-03-29.
    parsed = read_rows(tmp_path, row(start="2026-03-29 01:30+00:00"))
    expect(
        only(parsed.problems),
        2,
        "start",
        "2026-03-29 01:30+00:00",
        "does not have",
        "write 2026-03-29 02:30+01:00",
    )


def test_the_window_end_is_checked_the_same_way(tmp_path: Path) -> None:
    # IANA: Europe/London, the repeated hour of 2026-10-25.
    parsed = read_rows(tmp_path, row(start="2026-10-24 22:00", end="2026-10-25 01:30"))
    expect(
        only(parsed.problems),
        2,
        "window end",
        "2026-10-25 01:30",
        "happens twice",
        "write 2026-10-25 01:30+01:00",
    )


@pytest.mark.parametrize(
    ("text", "name"),
    [("europe/london", "Europe/London"), ("America/New York", "America/New_York"),
     (" Europe/London ", "Europe/London"), ("UTC", "UTC")],
)  # fmt: skip
def test_spelling_that_is_forgiven(text: str, name: str) -> None:
    assert zones.zone(text) == name


@pytest.mark.parametrize(
    ("text", "near"),
    [("Europe/Lodnon", "Europe/London"), ("London", "Europe/London"),
     ("Europe/Katmandu", "Asia/Katmandu"), ("America/NewYork", "America/New_York"),
     ("lisbonn", "Europe/Lisbon")],
)  # fmt: skip
def test_an_unknown_zone_gets_the_nearest(tmp_path: Path, text: str, near: str) -> None:
    parsed = read_rows(tmp_path, row(tz=text))
    expect(only(parsed.problems), 2, "time zone", text, "not a zone of the IANA", near)


def test_a_zone_like_no_other(tmp_path: Path) -> None:
    expect(
        only(read_rows(tmp_path, row(tz="qqqqq")).problems),
        2,
        "time zone",
        "qqqqq",
        "not a zone of the IANA",
        "as Europe/London",
    )


@pytest.mark.parametrize("text", ["GMT", "BST", "EST", "CET", "GB"])
def test_short_names_are_refused(tmp_path: Path, text: str) -> None:
    # GMT, EST, CET and GB are names of the IANA database; they are refused all the same.
    near = zones.nearest(text)[0]
    expect(
        only(read_rows(tmp_path, row(tz=text)).problems),
        2,
        "time zone",
        text,
        "hides whether the clocks change",
        f"write {near}",
    )
    assert zones.zone(near) == near


@pytest.mark.parametrize(
    ("start", "what", "remedy"),
    [
        ("2026-03-12", "has no time of day", "add it, as 2026-03-12 18:00"),
        ("18:00", "has no date", "2026-03-12 18:00"),
        ("25/03/2026 18:00", "order that differs by country", "write 2026-03-25 18:00"),
        ("03/25/2026 18:00", "order that differs by country", "write 2026-03-25 18:00"),
        (
            "12.03.2026 18:00",
            "order that differs by country",
            "write 2026-03-12 18:00 or 2026-12-03 18:00",
        ),
        ("Thursday at six", "is not a date and time", "write it as 2026-03-12 18:00"),
        ("2026-02-30 18:00", "is not a date and time that exists", "write it as"),
        ("2026-03-12 24:00", "is not a date and time that exists", "write it as"),
        ("1926-03-12 18:00", "is not in this century", "check the year"),
    ],
)
def test_starts_that_cannot_be_read(tmp_path: Path, start: str, what: str, remedy: str) -> None:
    expect(only(read_rows(tmp_path, row(start=start)).problems), 2, "start", start, what, remedy)


def test_a_start_in_the_past_is_a_note(tmp_path: Path) -> None:
    now = utc(2026, 3, 12, 18, 1)
    parsed = read_rows(tmp_path, row(), now=now)
    assert len(parsed.sites) == 1
    expect(only(parsed.notes), 2, "start", "2026-03-12 18:00", "in the past", "check it")
    assert not read_rows(tmp_path, row(), now=utc(2026, 3, 12, 17, 59)).notes


@pytest.mark.parametrize("end", ["2026-03-12 17:00", "2026-03-12 18:00", "2026-03-12 17:59Z"])
def test_a_window_that_ends_before_it_starts(tmp_path: Path, end: str) -> None:
    expect(
        only(read_rows(tmp_path, row(end=end)).problems),
        2,
        "window end",
        end,
        "is not after the start '2026-03-12 18:00'",
        "after the start",
    )


def test_a_window_end_as_time_of_day(tmp_path: Path) -> None:
    parsed = read_rows(tmp_path, row(end="22:00"))
    assert parsed.sites[0].end == utc(2026, 3, 12, 22)
    assert not parsed.notes


def test_a_time_of_day_before_the_start_is_the_next_day_and_said(tmp_path: Path) -> None:
    parsed = read_rows(tmp_path, row(end="02:00"))
    assert parsed.sites[0].end == utc(2026, 3, 13, 2)
    expect(
        only(parsed.notes), 2, "window end", "02:00", "read as 2026-03-13 02:00", "with its date"
    )


def test_a_window_of_days_is_a_note(tmp_path: Path) -> None:
    parsed = read_rows(tmp_path, row(end="2026-04-12 22:00Z"))
    assert len(parsed.sites) == 1
    expect(only(parsed.notes), 2, "window end", "2026-04-12 22:00Z", "748 hours", "check the date")


@pytest.mark.parametrize("end", ["later", "2026-03-12"])
def test_a_window_end_that_cannot_be_read_is_said_beside_a_bad_zone(
    tmp_path: Path, end: str
) -> None:
    parsed = read_rows(tmp_path, row(tz="Mars/Base", end=end))
    assert [p.column for p in parsed.problems] == ["time zone", "window end"]


ZONES = st.sampled_from(["Europe/London", "America/New_York", "Australia/Lord_Howe",
                         "Asia/Kathmandu", "Africa/Casablanca", "America/Santiago"])  # fmt: skip


@given(ZONES, st.datetimes(datetime(2020, 1, 1), datetime(2037, 1, 1)))
def test_an_instant_is_read_back_as_the_wall_time_it_came_from(tz: str, local: datetime) -> None:
    """Held against the database itself, asked the other way round: instant to wall time."""
    local = local.replace(microsecond=0)
    place = ZoneInfo(tz)
    window = [
        datetime.combine(local, local.time(), UTC) - timedelta(minutes=m)
        for m in range(-14 * 60, 14 * 60 + 1, 15)
    ]
    meant = {m for m in window if m.astimezone(place).replace(tzinfo=None) == local}
    try:
        found = zones.instant(zones.Wall(local), tz)
    except Refused:
        assert len(meant) != 1
    else:
        assert {found} == {int(m.timestamp()) * 1000 for m in meant}
