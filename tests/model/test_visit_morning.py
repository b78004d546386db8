"""The morning after: asked when the site opens, reopened by a no, passed by a yes."""

import pytest
from msgspec.structs import replace

from bot.model.board import state_of
from bot.model.visit.morning import morning_passed, reopened
from tests.model.kit import DEPUTY, ONCALL, STRANGER, Walk, clock, context, plan

MORNING = clock("2026-10-21 09:00")  # the evening is a Tuesday


def over(hours: str = "Mo-Fr 09:00-17:00") -> Walk:
    made = plan()
    walk = Walk(replace(made, site=replace(made.site, opening_hours=hours))).to("registry.light")
    walk.register()
    walk.press("done")
    assert walk.visit.state == "done"
    return walk


def asked() -> Walk:
    walk = over()
    walk.until(MORNING)
    return walk


@pytest.mark.parametrize(
    ("hours", "at", "known"),
    [
        ("Mo-Fr 09:00-17:00", "2026-10-21 09:00", True),
        ("Di, Do 10-18 Uhr", "2026-10-22 10:00", True),
        ("Sa 10:00-12:00", "2026-10-24 10:00", True),
        ("", "2026-10-21 09:00", False),
        ("by appointment", "2026-10-21 09:00", False),
    ],
)
def test_it_is_asked_when_the_site_opens_next(hours: str, at: str, known: bool) -> None:
    walk = over(hours)
    assert walk.visit.morning.due == clock(at)
    assert walk.visit.morning.hours_known is known
    walk.until(clock(at) - 1)
    assert walk.last == "goodbye"
    walk.until(clock(at))
    assert walk.last == "morning"


@pytest.mark.parametrize(
    "words", ["everything works", "no problems", "yes", "Alles läuft", "all good, thanks"]
)
def test_a_yes_passes_it(words: str) -> None:
    walk = asked()
    assert not morning_passed(walk.visit)
    walk.say(words)
    assert walk.said[-3:] == ["morning_good", "returns_packing", "returns_send"]
    assert morning_passed(walk.visit)
    assert "morning" not in walk.deadlines


@pytest.mark.parametrize(
    "words",
    [
        "no",
        "the till is not working",
        "everything works except the printer",
        "help",
        "Das Telefon geht nicht",
        "alles gut, nur das Telefon nicht",
        "the light is red",
    ],
)
def test_anything_wrong_reopens_it(words: str) -> None:
    walk = asked()
    walk.say(words)
    assert walk.last == "morning_bad"
    assert walk.causes() == ["morning"]
    assert reopened(walk.visit)
    assert state_of(walk.visit) == "reopened"
    assert not morning_passed(walk.visit)


def test_reopened_by_one_press_and_not_done_until_closed_then_asked_again() -> None:
    walk = asked()
    walk.press("not_all")
    walk.advance(5)
    walk.call_press("take")
    walk.say("the phone rings now and then")
    assert "call_contact_says" in walk.team
    assert state_of(walk.visit) == "reopened"
    walk.call_press("close_fixed")
    assert state_of(walk.visit) == "done"
    assert walk.visit.morning.due == clock("2026-10-22 09:00")
    assert not morning_passed(walk.visit)
    walk.until(clock("2026-10-22 09:00"))
    assert walk.last == "morning"
    walk.press("all_works", DEPUTY.user)
    assert morning_passed(walk.visit)
    assert walk.replayed() == walk.visit


def test_a_button_of_yesterday_still_reopens_after_a_yes() -> None:
    walk = asked()
    walk.press("all_works")
    walk.advance(300)
    walk.press("not_all")
    assert reopened(walk.visit)
    assert walk.press("not_all") == "nothing"


def test_one_reminder_then_it_is_unanswered_and_nobody_is_called() -> None:
    walk = asked()
    walk.advance(8 * 60)
    assert walk.said.count("morning") == 1
    assert walk.said.count("morning_again") == 1
    assert walk.visit.morning.answer == "unanswered"
    assert walk.causes() == []
    walk.say("sorry, all good")
    assert morning_passed(walk.visit)


def test_what_answers_nothing_is_asked_once_more() -> None:
    walk = asked()
    walk.say("hmm the weather")
    assert walk.last == "morning_again"


def test_only_the_site_answers() -> None:
    walk = asked()
    assert walk.press("not_all", STRANGER) == "not_yours"
    assert walk.press("all_works", ONCALL) == "not_yours"


def test_closed_with_another_evening_it_gets_one() -> None:
    walk = asked()
    walk.press("not_all")
    walk.advance(5)
    walk.call_press("take")
    walk.call_press("close_rebook")
    assert walk.visit.state == "rebook"
    walk.advance(3 * 24 * 60)
    assert "morning_again" not in walk.said


def test_a_runbook_without_the_section_asks_nothing() -> None:
    book = context().book.model_copy(update={"morning": None})
    walk = Walk(plan(), context=context(book=book)).to("registry.light")
    walk.register()
    walk.press("done")
    assert walk.deadlines == {}


# --- released ----------------------------------------------------------------------------


def test_who_has_to_go_while_it_loads_may_and_is_told_how_it_went() -> None:
    walk = Walk(plan()).to("loading.light")
    walk.say("can I go home now?")
    assert walk.last == "released"
    assert walk.visit.state == "watched"
    walk.advance(5)
    walk.register()
    walk.advance(0)
    assert walk.visit.state == "done"
    assert walk.last == "released"
    walk.until(MORNING)
    assert walk.last == "morning_released"


def test_what_does_not_come_calls_on_call_and_not_the_contact() -> None:
    walk = Walk(plan()).to("registry.light")
    walk.say("I have to go")
    until = walk.visit.release.until
    walk.until(until + 3 * 60_000)
    assert walk.causes() == ["no_registration"]
    assert walk.last == "released"
    walk.until(MORNING)
    assert walk.last == "morning_not_yet"
    walk.until(clock("2026-10-22 12:00"))
    assert walk.said.count("morning_not_yet") == 1
    walk.register()
    walk.until(clock("2026-10-23 09:00"))
    assert walk.last == "morning_released"


@pytest.mark.parametrize("place", ["placing.place", "cabling.cable", "power_on.power"])
def test_where_hands_are_needed_the_rule_lets_nobody_go(place: str) -> None:
    walk = Walk(plan()).to(place)
    walk.say("can I go home now?")
    assert walk.visit.state == "running"
    assert walk.last == "going_offer"


def test_a_cable_check_needs_hands_too() -> None:
    walk = Walk(plan()).to("loading.light")
    walk.press("light:not_reached")
    walk.say("can I go home now?")
    assert walk.visit.state == "running"


def test_who_goes_later_is_let_go_then() -> None:
    walk = Walk(plan()).to("loading.light")
    walk.say("I have to go in 10 minutes")
    assert walk.last == "going_noted"
    walk.advance(9)
    assert walk.visit.state == "running"
    walk.advance(2)
    assert walk.visit.state == "watched"


def test_on_call_may_release_anywhere_and_others_may_not() -> None:
    walk = Walk(plan()).to("cabling.cable")
    assert walk.order("release", STRANGER) == "not_yours"
    assert walk.order("release", ONCALL) == "ok"
    assert walk.last == "released_as_is"
    assert walk.visit.release.by == ONCALL.user
    assert walk.press_action("g:e1:let_go", STRANGER) == "not_yours"
    assert walk.order("release", ONCALL) == "nothing"
    assert walk.replayed() == walk.visit


def test_a_danger_stop_is_not_released() -> None:
    walk = Walk(plan()).to("loading.light")
    walk.say("there is smoke")
    assert walk.order("release", ONCALL) == "nothing"
    assert walk.visit.state == "running"
