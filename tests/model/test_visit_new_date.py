"""Another date for a site: planned anew, asked anew, and refused where it would do harm."""

import pytest

from bot.model.policy import MINUTE
from bot.model.visit.new_date import NoDate, read_date
from bot.model.visit.ready_events import DateSet
from tests.model.kit import ADMIN, CONTACT, START, Walk, clock, plan

LATER = "2026-10-27 18:00"


def test_a_site_that_said_another_time_is_asked_for_the_new_date() -> None:
    walk = Walk(plan(end=START + 180 * MINUTE))
    walk.until(walk.deadlines["invite"])
    walk.press("other_time")
    assert walk.order("new_date", when=LATER) == "ok"
    assert (walk.visit.state, walk.visit.start) == ("planned", clock(LATER))
    assert walk.visit.end == clock(LATER) + 180 * MINUTE
    assert walk.said[-1] == "new_date"
    assert "not_started" not in walk.causes()
    walk.until(walk.deadlines["invite"])
    assert walk.last == "invite"
    walk.press("yes")
    walk.until(clock(LATER))
    assert walk.asked() == "begin.begin"
    assert any(isinstance(ev, DateSet) and ev.by == ADMIN.user for ev, _ in walk.journal)
    assert "new_date" in walk.told


def test_a_unit_that_was_powered_begins_anew_and_one_that_registered_stays() -> None:
    walk = Walk(plan()).to("placing.place")
    walk.order("rebook")
    walk.order("new_date", when=LATER)
    assert [u.state for u in walk.visit.units] == ["waiting"]
    done = Walk(plan()).to("registry.light")
    done.register()
    assert done.order("new_date", when=LATER) == "ok"
    assert [u.state for u in done.visit.units] == ["online"]


@pytest.mark.parametrize(
    ("when", "answer"),
    [
        ("next Thursday", "bad_date"),
        ("2026-13-40 18:00", "bad_date"),
        ("2026-10-25 01:30", "no_such_time"),  # the clocks go back
        ("2027-03-28 01:30", "no_such_time"),  # and forward over it
        ("2026-10-25 01:30 +01:00", "ok"),
        ("2026-10-01 18:00", "past_date"),
    ],
)
def test_what_is_no_date_is_refused_and_changes_nothing(when: str, answer: str) -> None:
    walk = Walk(plan())
    walk.order("rebook")
    before = walk.visit
    assert walk.order("new_date", when=when) == answer
    assert (walk.visit == before) == (answer != "ok")


def test_the_end_of_the_window_may_be_given_also_past_midnight() -> None:
    start, end = read_date("2026-10-27 18:00-22:00", "Europe/London")
    assert (start, end) == (clock(LATER), clock("2026-10-27 22:00"))
    assert read_date("2026-10-27 22:00 to 01:00", "Europe/London")[1] == clock("2026-10-28 01:00")
    with pytest.raises(NoDate):
        read_date("2026-10-27", "Europe/London")


def test_a_site_without_its_line_or_stopped_for_danger_gets_no_date() -> None:
    off = Walk(plan()).to("power_on.power")
    assert off.order("new_date", when=LATER) == "line_down"
    off.order("rebook")
    assert off.order("new_date", when=LATER) == "line_down"
    stopped = Walk(plan()).to("placing.place")
    stopped.say("there is smoke")
    assert stopped.order("new_date", when=LATER) == "nothing"


def test_only_the_team_may() -> None:
    walk = Walk(plan())
    assert (
        walk.order("new_date", walk.context.roster.actor(CONTACT.user), when=LATER) == "not_yours"
    )


def test_at_night_the_invitation_says_it() -> None:
    walk = Walk(plan()).begin()
    walk.order("rebook")
    walk.until(clock("2026-10-20 22:30"))
    walk.order("new_date", when="2026-11-20 18:00")
    assert "new_date" not in walk.said
