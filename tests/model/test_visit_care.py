"""The safety of the people at a site: cautions at their stage, drivers, and who is alone."""

import functools
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from bot.model.message import Message
from bot.model.runbook import Runbook
from bot.model.visit.quiet import driving, must_park
from tests.model.kit import (
    CONTACT,
    CONTACT_LENGTH,
    DEPUTY,
    SECOND_UNIT,
    SITE,
    START,
    UNIT,
    Walk,
    book,
    context,
    plan,
)


@functools.cache
def asking_company() -> Runbook:
    data = book().model_dump()
    data["cautions"]["check_in"]["ask"] = True
    return Runbook.model_validate(data)


@functools.cache
def without() -> Runbook:
    return Runbook.model_validate(book().model_dump() | {"cautions": None})


def cautions_said(walk: Walk) -> list[str]:
    return [key for message in walk.messages for key in message.beside]


def to_site(walk: Walk) -> list[Message]:
    people = (f"user:{CONTACT.user}", f"user:{DEPUTY.user}")
    return [m for m in walk.messages if m.thread == f"site:{SITE}" or m.thread in people]


# --- cautions ----------------------------------------------------------------------------


def test_each_caution_of_a_stage_is_said_once_when_it_is_entered() -> None:
    walk = Walk(plan([UNIT, SECOND_UNIT])).to("loading.light")
    first = cautions_said(walk)
    section = book().cautions
    assert section is not None
    passed = ("begin", "mobile_data", "inventory", "placing", "power_on")
    assert first == [key for stage in passed for key in section.at(stage)]
    walk.press("light:reaching")
    walk.register()
    walk.to("loading.light")  # of the second unit: the same stages again
    assert cautions_said(walk) == first


def test_a_reminder_and_a_question_put_again_leave_them_out() -> None:
    walk = Walk(plan()).to("placing.place")
    before = cautions_said(walk)
    walk.advance(8)
    assert walk.last == "place_nudge"
    walk.order("ask")
    assert walk.last == "place"
    assert cautions_said(walk) == before


def test_a_stage_that_leaves_no_room_has_a_message_of_its_own_for_them() -> None:
    data = book().model_dump()
    data["cautions"]["stages"]["cabling"] = ("caution_unplug", "caution_fibre")
    data["cautions"]["apart"] = ("cabling",)
    walk = Walk(plan(), context=context(book=Runbook.model_validate(data))).to("cabling.cable")
    assert walk.said[-2:] == ["caution_unplug", "cable"]
    assert walk.text("caution_unplug").count("\n") == 1  # the second stands below the first


def test_what_stood_below_a_question_that_was_answered_at_once_is_not_lost() -> None:
    walk = Walk(plan()).to("inventory.unpack")
    walk.press("done")
    walk.press("same")
    walk.press("lead_one")
    assert walk.asked() == "placing.place"
    walk = Walk(plan()).to("mobile_data.mobile")
    walk.say("done, and it is all unpacked, and the number is the same")
    said = cautions_said(walk)
    assert "caution_wet" in said or walk.asked() == "inventory.unpack"


def test_without_the_section_nothing_is_said_and_nobody_is_asked() -> None:
    walk = Walk(plan(vehicle=True), context=context(book=without())).to("loading.light")
    assert cautions_said(walk) == []
    assert "parked" not in walk.said
    walk.say("i am alone here")
    assert walk.visit.care.company == ""


# --- mobile branches ---------------------------------------------------------------------


def begun(**changes: Any) -> Walk:
    """A mobile branch whose evening has come."""
    walk = Walk(plan(vehicle=True), **changes).agree()
    walk.until(START)
    return walk


def test_a_mobile_branch_is_asked_first_whether_it_is_parked() -> None:
    walk = begun()
    assert walk.last == "parked"
    assert [b.label for b in walk.messages[-1].buttons] == ["b_parked", "b_driving", "b_help"]
    walk.press("parked")
    assert walk.last == "begin"
    assert not must_park(walk.visit, walk.context.book)


@pytest.mark.parametrize("words", ["yes", "parked now", "engine is off", "der Motor ist aus", "ja"])
def test_parked_is_understood_in_words(words: str) -> None:
    walk = begun()
    walk.say(words)
    assert walk.last == "begin"


@pytest.mark.parametrize("words", ["hello", "later", "what is this", "in 20 minutes", "thanks"])
def test_until_then_nothing_is_said_to_them(words: str) -> None:
    walk = begun()
    before = walk.said
    walk.say(words)
    assert walk.said == before


def test_a_driver_is_never_reminded_and_a_person_is_called_instead() -> None:
    walk = begun()
    before = len(to_site(walk))
    walk.advance(31)
    assert walk.causes() == ["not_started"]
    assert len(to_site(walk)) == before
    walk.advance(60)
    assert len(to_site(walk)) == before
    walk.press("parked")
    assert walk.last == "begin"
    assert all(call.cleared_at for call in walk.visit.open_calls)


def test_who_says_that_they_drive_gets_no_answer_until_they_stand() -> None:
    walk = begun()
    walk.press("driving")
    before = len(to_site(walk))
    walk.say("we are driving, back in a bit")
    walk.say("ok")
    walk.advance(29)
    assert walk.causes() == []
    walk.advance(2)
    assert walk.causes() == ["not_started"]
    assert len(to_site(walk)) == before
    walk.say("we have stopped")
    assert walk.last == "begin"


def test_driving_in_the_middle_stops_all_questions_and_parking_puts_the_open_one_again() -> None:
    walk = begun()
    walk.press("parked")
    walk.press("here")
    walk.to("placing.place")
    walk.say("sorry, we have to move the bus")
    before = len(to_site(walk))
    walk.press("done")
    assert walk.answer == "nothing"
    walk.advance(31)
    assert walk.causes() == ["silent"]
    assert len(to_site(walk)) == before
    walk.say("parked again")
    assert walk.last == "place"
    assert walk.causes() == []
    walk.advance(2)
    walk.press("done")
    assert walk.asked() == "cabling.cable"


def test_help_is_called_although_they_drive_and_the_answer_waits() -> None:
    walk = begun()
    walk.press("driving")
    before = len(to_site(walk))
    walk.say("help, I need a person")
    assert "help" in walk.causes()
    assert len(to_site(walk)) == before


def test_danger_is_answered_whatever_they_do() -> None:
    walk = begun()
    walk.press("driving")
    walk.say("there is smoke", place="channel")
    assert walk.visit.stopped_at is not None
    assert walk.last == "danger"


def test_a_call_closed_while_they_drive_does_not_lead_them_on() -> None:
    walk = begun()
    walk.press("driving")
    walk.advance(31)
    walk.call_press("take")
    walk.call_press("close")
    walk.call_press("close_fixed") if _has(walk, "close_fixed") else walk.call_press("fixed")
    assert walk.last == "parked"
    assert walk.deadlines  # and it is not forgotten


def _has(walk: Walk, verb: str) -> bool:
    return any(b.action.endswith(f":{verb}") for m in walk.messages for b in m.buttons)


def test_parked_said_while_the_wave_is_held_is_not_lost() -> None:
    walk = begun()
    walk.hold()
    walk.press("parked")
    assert walk.last == "held_wait"
    walk.resume()
    assert walk.said[-2:] == ["held_over", "begin"]


def test_before_the_evening_a_mobile_branch_is_not_reminded() -> None:
    walk = Walk(plan(vehicle=True))
    walk.until(walk.deadlines["invite"])
    assert "nudge" not in walk.deadlines
    assert "window" in walk.deadlines
    fixed = Walk(plan())
    fixed.until(fixed.deadlines["invite"])
    assert "nudge" in fixed.deadlines


def after(*, vehicle: bool) -> Walk:
    """The evening is over, and the question of the next morning is to come."""
    walk = Walk(plan(vehicle=vehicle)).agree()
    walk.until(START)
    if vehicle:
        walk.press("parked")
    walk.to("loading.light")
    walk.press("light:reaching")
    walk.register()
    walk.to("wrap_up.tidy")
    walk.press("done")
    return walk


def test_in_the_morning_a_mobile_branch_is_asked_before_it_leaves_and_once() -> None:
    moving, standing = after(vehicle=True), after(vehicle=False)
    assert standing.deadlines["morning"] - moving.deadlines["morning"] == 30 * 60_000
    for walk in (moving, standing):
        walk.until(walk.deadlines["morning"])
        assert walk.last == "morning"
        walk.advance(24 * 60)
    assert "morning_again" in standing.said
    assert "morning_again" not in moving.said


def test_a_contact_of_any_site_who_drives_is_left_alone() -> None:
    walk = Walk(plan()).agree()
    walk.until(START)
    walk.say("I am driving, I will be there in ten minutes")
    before = len(to_site(walk))
    assert driving(walk.visit)
    walk.advance(15)
    assert len(to_site(walk)) == before
    walk.press("here")
    assert walk.asked() == "mobile_data.mobile"


DEEDS = st.sampled_from(
    ["parked", "driving", "words", "advance", "done", "here", "help", "unit", "gap", "deputy"]
)


@given(st.lists(DEEDS, max_size=14))
@settings(max_examples=60, deadline=None)
def test_nothing_is_ever_sent_between_driving_and_standing(deeds: list[str]) -> None:
    """Whatever people, units and clocks do: no message to the site while it may drive, but the
    one question and what is said of danger; and the visit always has something that is due."""
    walk = begun()
    for deed in deeds:
        quiet = driving(walk.visit) or must_park(walk.visit, walk.context.book)
        before = len(to_site(walk))
        _do(walk, deed)
        still = driving(walk.visit) or must_park(walk.visit, walk.context.book)
        if quiet and still:
            assert [m.template for m in to_site(walk)[before:] if m.template != "parked"] == []
        if walk.visit.live:
            assert walk.deadlines or walk.visit.state in ("done", "watched", "rebook")


def _do(walk: Walk, deed: str) -> None:
    if deed == "advance":
        walk.advance(9)
    elif deed == "words":
        walk.say("hello there")
    elif deed == "deputy":
        walk.say("driving now", DEPUTY.user)
    elif deed == "help":
        walk.say("help")
    elif deed == "unit":
        walk.register()
    elif deed == "gap":
        walk.gap(5)
    else:
        actions = [b.action for m in walk.messages for b in m.buttons]
        newest = [a for a in actions if a.split(":", 2)[2:] == [deed]]
        if newest:
            walk.press_action(newest[-1])


# --- nobody alone ------------------------------------------------------------------------


def test_who_says_that_they_are_alone_has_a_check_in_time() -> None:
    walk = Walk(plan()).to("placing.place")
    walk.say("I am alone here by the way")
    assert walk.last == "check_in_agreed"
    assert walk.visit.care.check_in == walk.now + 15 * 60_000
    walk.press("done")
    assert walk.asked() == "cabling.cable"


def test_said_in_german_and_beside_an_answer_both_count() -> None:
    walk = Walk(plan()).to("placing.place")
    walk.say("fertig, ich bin allein hier")
    assert "check_in_agreed" in walk.said
    assert walk.asked() == "cabling.cable"


def test_silent_past_it_the_deputy_is_asked_and_then_on_call_is_called() -> None:
    """While they only watch the light, the open question's own window would be later."""
    walk = Walk(plan()).to("loading.light")
    walk.say("i am on my own")
    walk.press("light:loading")
    walk.advance(12.5)
    assert walk.said.count("check_in") == 1
    walk.advance(3)
    assert [m.template for m in walk.messages if m.thread == f"user:{DEPUTY.user}"][:1] == [
        "deputy_ask"
    ]
    walk.advance(6)
    assert walk.visit.open_calls


def test_without_a_deputy_a_person_is_called_at_once() -> None:
    walk = Walk(plan(deputy=None)).to("loading.light")
    walk.say("i am on my own")
    walk.press("light:loading")
    walk.advance(15.5)
    assert walk.causes() == ["silent"]
    walk.say("all fine, white and blinking slowly")
    assert walk.causes() == []
    assert walk.visit.care.check_in == walk.now + 15 * 60_000


def test_any_word_moves_it_and_all_is_well_is_one_press() -> None:
    walk = Walk(plan()).to("loading.light")
    walk.say("i am on my own")
    walk.press("light:loading")
    walk.advance(12.5)
    walk.press("fine")
    assert walk.last == "check_in_ok"
    assert walk.visit.care.check_in == walk.now + 15 * 60_000
    assert walk.asked() == "loading.light"


def test_our_own_absence_is_no_silence_of_theirs() -> None:
    walk = Walk(plan(deputy=None)).to("loading.light")
    walk.say("i am on my own")
    walk.gap(40)
    assert walk.causes() == []
    assert walk.deadlines["check_in"] > walk.now


def test_where_the_runbook_wants_it_everybody_is_asked_once() -> None:
    walk = Walk(plan(), context=context(book=asking_company())).begin()
    assert walk.last == "company"
    walk.press("with_others")
    assert walk.asked() == "mobile_data.mobile"
    assert walk.visit.care.check_in is None
    walk = Walk(plan(), context=context(book=asking_company())).begin()
    walk.press("alone")
    assert walk.said[-2:] == ["check_in_agreed", "mobile_data"]


def test_with_the_longest_cautions_a_text_stays_short() -> None:
    """Every first text of a stage with its cautions, in both languages: the walk checks each."""
    for lang in ("en", "de"):
        people = {"contact": replace(CONTACT, lang=lang)}
        made = replace(plan(), **people)
        walk = Walk(made).to("loading.light")
        assert max(len(walk.text(m.template)) for m in to_site(walk)) <= CONTACT_LENGTH
        assert cautions_said(walk)
