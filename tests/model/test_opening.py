"""Opening hours of site lists, and when a site opens next."""

from datetime import time

import pytest

from bot.model.opening import next_opening, parse
from tests.model.kit import clock

NINE = time(9)


def opens(text: str) -> str:
    """Each open day with its first opening, as ``0=09:00 1=09:00``; empty: not understood."""
    week = parse(text)
    if week is None:
        return ""
    return " ".join(f"{day}={at:%H:%M}" for day, at in sorted(week.opens.items()))


def days(first: int, last: int, at: str) -> str:
    return " ".join(f"{day}={at}" for day in range(first, last + 1))


WORKING = days(0, 4, "09:00")


@pytest.mark.parametrize(
    ("text", "found"),
    [
        # https://schema.org/openingHours, whose two examples these are: "Tuesdays and Thursdays
        # 4-8pm" and "Monday through Sunday, all day"
        ("Tu,Th 16:00-20:00", "1=16:00 3=16:00"),
        ("Mo-Su", days(0, 6, "00:00")),
        # https://wiki.openstreetmap.org/wiki/Key:opening_hours: a rule behind a semicolon takes
        # the place of an earlier one for its days, one behind a comma adds to it
        ("24/7", days(0, 6, "00:00")),
        ("Mo-Fr 08:00-18:00; We off", "0=08:00 1=08:00 3=08:00 4=08:00"),
        ("Mo-Fr 08:00-12:00, We 14:00-18:00", days(0, 4, "08:00")),
        ("Mo-Fr 08:00-12:00, 14:00-18:00", days(0, 4, "08:00")),
        ("Mo-Fr 08:00-12:00,13:00-17:30; Sa 08:00-12:00", days(0, 5, "08:00")),
        ("Mo-Fr 08:00-18:00; Sa,Su 10:00-20:00", f"{days(0, 4, '08:00')} 5=10:00 6=10:00"),
        ("Mo-Fr 08:00-18:00; We 10:00-18:00", "0=08:00 1=08:00 2=10:00 3=08:00 4=08:00"),
        ("Mo-Fr 09:00-18:00; PH off", WORKING),
        ("Mo-Fr 09:00-18:00; PH 11:00-12:00", WORKING),
    ],
)
def test_published_forms(text: str, found: str) -> None:
    assert opens(text) == found


@pytest.mark.parametrize(
    ("text", "found"),
    [  # common practice, no published source
        ("Mon-Fri 09:00-17:30", WORKING),
        ("Mon, Wed, Fri 10:00-17:00", "0=10:00 2=10:00 4=10:00"),
        ("Mon-Fri 09:30-16:30 on the road", days(0, 4, "09:30")),
        ("Monday to Friday 9am-5.30pm", WORKING),
        ("Mon – Fri 9:00 am to 5:00 p.m.; Sat 10 to 2pm", f"{WORKING} 5=10:00"),
        ("Mon-Fri: 0900-1730", WORKING),
        ("weekdays 9-17", WORKING),
        ("daily 9-17", days(0, 6, "09:00")),
        ("Sat closed; Mon-Fri 9-17", WORKING),
        ("Mon-Fri 9-17, Sat closed", WORKING),
        ("Fri-Mon 12:00-20:00", "0=12:00 4=12:00 5=12:00 6=12:00"),
        ("Montag bis Freitag 9-17 Uhr", WORKING),
        (
            "Mo-Do 9.00–17.30 Uhr, Fr 8 bis 12 Uhr, Sa und So geschlossen",
            days(0, 3, "09:00") + " 4=08:00",
        ),
        ("Di, Do 14:00-18:00 Uhr", "1=14:00 3=14:00"),
        ("täglich 10-18 Uhr", days(0, 6, "10:00")),
        ("Mo 9h-17h", "0=09:00"),
        ("09:00-17:00", days(0, 6, "09:00")),
        ("Mo-Fr 09:00-12:00\nSa 10:00-12:00", f"{WORKING} 5=10:00"),
        ("Mo & Di 9-12, 14-18", "0=09:00 1=09:00"),
    ],
)
def test_what_people_write(text: str, found: str) -> None:
    assert opens(text) == found


@pytest.mark.parametrize(
    "text",
    [
        "", "   ", "by appointment", "nach Vereinbarung", "see the door", "Mon-Fri",
        "Apr-Sep Mo-Fr 09:00-18:00",
        "Mo-Fr 9-17 except the first Monday", "every other week Tue 9-12", "Mo-Fr 25:00-30:00",
        "Mo-Fr 9:75-12", "Mo-Fr 13pm-2pm", "Mo-Fr 09:00", "closed", "Mo-Fr 09:00 10:00",
        "Mo-Fr sunrise-sunset",
        "ab 9 Uhr", "\N{SNOWMAN}", "9" * 500,
    ],
)  # fmt: skip
def test_what_is_not_understood_says_nothing(text: str) -> None:
    expected = days(0, 4, "00:00") if text == "Mon-Fri" else ""  # all day, by the first source
    assert opens(text) == expected


LONDON = "Europe/London"


@pytest.mark.parametrize(
    ("hours", "after", "at"),
    [
        ("Mo-Fr 09:00-17:30", "2026-03-12 18:40", "2026-03-13 09:00"),  # a Thursday
        ("Mo-Fr 09:00-17:30", "2026-03-13 18:40", "2026-03-16 09:00"),  # over the weekend
        ("Tu-Sa 10:00-18:00", "2026-03-14 19:00", "2026-03-17 10:00"),
        ("Mo-Fr 09:00-17:30", "2026-03-13 00:20", "2026-03-13 09:00"),  # past midnight: that day
        ("Mo-Fr 09:00-17:30", "2026-03-13 09:00", "2026-03-16 09:00"),
        ("Mo-Fr 09:00-12:00, 14:00-18:00", "2026-03-12 12:30", "2026-03-13 09:00"),
        ("Sa 10:00-12:00", "2026-03-28 18:00", "2026-04-04 10:00"),  # the clocks go forward between
        ("Su 01:30-12:00", "2026-03-28 18:00", "2026-03-29 02:30"),  # 01:30 is not shown that night
        ("24/7", "2026-03-13 20:00", "2026-03-14 09:00"),  # nobody answers at midnight
        ("", "2026-03-13 20:00", "2026-03-16 09:00"),
    ],
)
def test_the_next_opening(hours: str, after: str, at: str) -> None:
    found = next_opening(hours, LONDON, clock(after), NINE)
    assert found == (clock(at), bool(hours))


def test_each_site_by_its_own_zone() -> None:
    after = clock("2026-03-12 18:40")
    found = next_opening("Mo-Fr 09:00-17:30", "Europe/Berlin", after, NINE)
    assert found.at == clock("2026-03-13 09:00", "Europe/Berlin")


def test_every_hour_of_the_demo_list_is_understood() -> None:
    from bot.practice.scene import sites

    rows = sites(None, 0)
    assert [row.site for row in rows if parse(row.opening_hours) is None] == []
