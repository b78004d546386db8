"""Timing: silence counts from confirmed delivery, one nudge, more time within the window.

The lengths of time come from the sample runbook; where they are facts of the trade they are
common practice, no published source.
"""

import pytest

from bot.model.policy import MINUTE
from tests.model.kit import DEPUTY, ONCALL, START, Walk, clock, plan


def at(place: str, **kwargs: object) -> Walk:
    return Walk(plan(**kwargs)).to(place)  # type: ignore[arg-type]


def test_silence_counts_only_from_confirmed_delivery() -> None:
    walk = at("placing.place")
    walk.auto = False
    walk.press("done")
    walk.advance(5)
    assert "nudge" not in walk.deadlines
    assert "window" not in walk.deadlines
    walk.deliver()
    question = walk.visit.question
    assert question is not None
    assert walk.deadlines["nudge"] == walk.now + 7 * MINUTE
    assert walk.deadlines["window"] == walk.now + 20 * MINUTE


def test_a_question_that_never_arrives_goes_to_a_person() -> None:
    walk = at("placing.place")
    walk.auto = False
    walk.press("done")
    walk.advance(15)
    assert walk.causes() == ["unreachable"]


def test_a_question_that_can_never_be_delivered_goes_to_a_person_at_once() -> None:
    walk = at("placing.place")
    walk.auto = False
    walk.press("done")
    walk.undeliverable(walk.pending[-1])
    assert walk.causes() == ["unreachable"]


def test_a_late_delivery_clears_the_call_and_the_window_counts_from_it() -> None:
    walk = at("placing.place")
    walk.auto = False
    walk.press("done")
    walk.advance(20)
    walk.deliver()
    assert walk.visit.calls[0].cleared_at == walk.now
    assert walk.deadlines["window"] == walk.now + 20 * MINUTE


def test_a_silent_contact_is_nudged_once() -> None:
    walk = at("placing.place")
    walk.advance(19)
    assert walk.said.count("place_nudge") == 1
    assert walk.visit.nudges == 1


def test_a_contact_who_reported_is_not_nudged() -> None:
    walk = at("loading.light")
    walk.advance(9)
    walk.press("light:loading")  # nothing is due now before the time they were told
    told = walk.deadlines["nudge"]
    walk.until(told - 1)
    assert "light_nudge" not in walk.said
    assert walk.text("light_wait").endswith("I will ask again at 19:23.")


def test_silence_past_the_window_becomes_a_call_after_the_deputy_was_asked_once() -> None:
    walk = at("placing.place")
    walk.advance(20)
    asked = [m for m in walk.messages if m.thread == f"user:{DEPUTY.user}"]
    assert [m.template for m in asked] == ["deputy_ask", "where_we_are"]
    assert walk.causes() == []
    walk.advance(5)
    assert walk.causes() == ["silent"]
    walk.advance(2)
    assert walk.called == ONCALL.user
    asked = [m for m in walk.messages if m.thread == f"user:{DEPUTY.user}"]
    assert [m.template for m in asked] == ["deputy_ask", "where_we_are"]


def test_without_a_deputy_silence_is_a_call_at_once() -> None:
    walk = at("placing.place", deputy=None)
    walk.advance(20)
    assert walk.causes() == ["silent"]


def test_the_deputy_may_answer() -> None:
    walk = at("placing.place")
    walk.advance(21)
    walk.press("done", DEPUTY.user)
    assert walk.asked() == "cabling.cable"
    assert walk.causes() == []


def test_an_answer_before_the_call_was_made_calls_nobody() -> None:
    walk = at("placing.place", deputy=None)
    walk.advance(20.5)
    walk.press("done")
    walk.advance(5)
    assert walk.team == []
    assert walk.causes() == []


def test_an_answer_after_the_call_clears_it_and_a_person_closes() -> None:
    walk = at("placing.place", deputy=None)
    walk.advance(25)
    assert walk.called == ONCALL.user
    walk.say("done")
    assert walk.asked() == "cabling.cable"
    call = walk.visit.calls[0]
    assert call.open
    assert call.cleared_at == walk.now


def test_silence_again_calls_again_though_the_first_call_is_not_closed() -> None:
    walk = at("placing.place", deputy=None)
    walk.advance(25)
    walk.say("done")
    walk.advance(21)
    assert [c.cause for c in walk.visit.open_calls if c.cleared_at is None] == ["silent"]


def test_a_contact_may_move_the_checkpoint_within_the_window() -> None:
    walk = at("placing.place")
    walk.say("give me 15 min")
    assert walk.last == "later_ok"
    assert walk.deadlines["nudge"] == walk.now + 15 * MINUTE
    walk.advance(14)
    assert "place_nudge" not in walk.said
    walk.advance(1)
    assert walk.said.count("place_nudge") == 1


def test_more_time_than_the_window_gets_the_latest_time_a_person_or_another_evening() -> None:
    walk = at("placing.place")
    walk.say("give me 45 min")
    assert walk.last == "later_too_long"
    wishes = [b.action.split(":", 2)[2] for b in walk.messages[-1].buttons]
    assert wishes == ["latest", "help", "other_evening"]
    walk.press("latest")
    question = walk.visit.question
    assert question is not None
    assert question.last is not None
    # asked at the latest with time left to answer before it is a call
    assert walk.now < walk.deadlines["nudge"] < question.last == walk.deadlines["window"]


def test_another_evening_while_nothing_is_unplugged_is_fine() -> None:
    walk = at("placing.place")
    walk.say("give me 45 min")
    walk.press("other_evening")
    assert walk.visit.state == "rebook"
    assert walk.causes() == ["not_started"]


def test_another_evening_with_the_line_down_leaves_no_site_without_service() -> None:
    walk = at("registry.light")
    walk.say("give me 45 min")
    walk.press("other_evening")
    assert walk.causes() == ["without_service"]
    assert walk.visit.open_calls[0].severity == "critical"
    assert "without_service" in walk.told


def test_a_pause_stands_still_and_silence_still_counts() -> None:
    walk = at("placing.place")
    walk.say("pause")
    assert walk.last == "paused"
    walk.advance(14)
    assert "place_nudge" not in walk.said
    walk.advance(1)
    assert walk.last == "place_nudge"
    walk.advance(30)
    assert walk.causes() == ["silent"]


def test_a_pause_is_ended_by_a_button() -> None:
    walk = at("placing.place")
    walk.say("pause")
    walk.advance(3)
    walk.press("unpause")
    assert walk.last == "unpaused"
    assert walk.visit.paused_until is None
    assert walk.press_action(walk.button("unpause")) == "stale"


def test_an_answer_ends_a_pause() -> None:
    walk = at("placing.place")
    walk.say("pause")
    walk.press("done")
    assert walk.asked() == "cabling.cable"
    assert walk.visit.paused_until is None


def test_the_agreed_end_is_asked_before_going_on() -> None:
    walk = at("inventory.unpack")
    end = walk.visit.agreed_end
    begun = walk.visit.begun_at
    assert begun is not None
    assert end == begun + 60 * MINUTE  # 40 for the visit, 20 of slack
    for answer in ("done", "same", "lead_one"):
        walk.say("give me 17 min")
        walk.advance(17)
        walk.press(answer)
    walk.until(end)
    assert walk.asked().endswith(".over")


def test_past_the_agreed_end_going_on_is_asked_and_granted() -> None:
    walk = Walk(plan(end=START + 20 * MINUTE)).to("placing.place")
    walk.until(START + 20 * MINUTE)
    assert walk.asked() == "placing.over"
    walk.press("go_on")
    assert walk.asked() == "placing.place"
    assert walk.visit.agreed_end is not None
    assert walk.visit.agreed_end > walk.now


def test_past_the_agreed_end_stopping_is_fine() -> None:
    walk = Walk(plan(end=START + 20 * MINUTE)).to("placing.place")
    walk.until(START + 20 * MINUTE)
    walk.press("stop_tonight")
    assert walk.last == "stop_tonight"
    assert walk.causes() == ["stop"]
    assert walk.visit.question is None


def test_past_the_change_window_on_call_knows_of_it() -> None:
    walk = Walk(plan(end=START + 20 * MINUTE)).to("placing.place")
    walk.until(START + 22 * MINUTE)
    walk.press("go_on")
    assert walk.causes() == ["over_time"]
    assert walk.asked() == "placing.place"


def test_the_agreed_end_is_asked_again_when_a_hold_came_between() -> None:
    walk = Walk(plan(end=START + 20 * MINUTE)).to("placing.place")
    walk.until(START + 20 * MINUTE)
    assert walk.asked() == "placing.over"
    walk.hold()
    walk.resume()
    walk.advance(0)
    assert walk.asked() == "placing.over"


def test_silence_at_the_agreed_end_is_its_own_cause() -> None:
    walk = Walk(plan(end=START + 20 * MINUTE)).to("placing.place")
    walk.until(START + 40 * MINUTE)
    assert walk.causes() == ["over_time"]


@pytest.mark.parametrize(
    ("start", "tz"),
    [("2026-10-25 00:40", "Europe/London"), ("2026-03-29 00:40", "Europe/London")],
)
def test_a_clock_change_during_an_install_changes_no_window(start: str, tz: str) -> None:
    """London goes from 02:00 back to 01:00 on 25 October 2026, and from 01:00 to 02:00 on
    29 March 2026 (IANA time zone database, Europe/London, rule EU)."""
    walk = Walk(plan(start=clock(start, tz), tz=tz), at=clock(start, tz) - 24 * 60 * MINUTE)
    walk.to("loading.light")
    walk.until(clock(start, tz) + 15 * MINUTE)
    asked = walk.visit.question
    assert asked is not None
    assert asked.asked_at is not None
    walk.say("give me 5 min")
    assert walk.deadlines["window"] - asked.asked_at == asked.window


@pytest.mark.parametrize("words", ["I will be ready at 7:20", "at 19:20", "ready at 7:20 pm"])
def test_a_clock_time_without_its_half_of_the_day_is_the_next(words: str) -> None:
    walk = at("placing.place")
    walk.say(words)
    assert walk.deadlines["nudge"] == clock("2026-10-20 19:20")


def test_a_clock_time_is_that_of_the_site() -> None:
    walk = at("placing.place", tz="Europe/Athens")
    assert walk.now > 0
    local = "2026-10-20 21:20"  # 19:20 in London
    walk.say("I will be ready at 21:20")
    assert walk.last == "later_ok"
    assert walk.deadlines["nudge"] == clock(local, "Europe/Athens")


def test_more_time_is_asked_for_by_button() -> None:
    walk = at("begin.begin")
    walk.press("later")
    assert walk.last == "how_long"
    walk.press("more20")
    assert walk.last == "later_ok"
    assert walk.deadlines["nudge"] == walk.now + 20 * MINUTE


def test_not_yet_without_a_time_asks_how_long() -> None:
    walk = at("placing.place")
    walk.say("not yet")
    assert walk.last == "how_long"


@pytest.mark.parametrize("words", ["give me 10 min", "pause"])
def test_at_the_end_of_the_window_there_is_no_more_time(words: str) -> None:
    walk = at("placing.place")
    walk.advance(19.5)
    walk.say(words)
    assert walk.last == "no_more_time"
    wishes = [b.action.split(":", 2)[2] for b in walk.messages[-1].buttons]
    assert wishes == ["help", "other_evening"]


def test_the_latest_time_offered_is_gone_when_it_has_passed() -> None:
    walk = at("placing.place")
    walk.say("give me 45 min")
    walk.advance(19)
    walk.press("latest")
    assert walk.last == "no_more_time"


@pytest.mark.parametrize("words", ["give me 10 min", "pause", "done", "what now?"])
def test_before_the_evening_there_is_nothing_to_put_off(words: str) -> None:
    walk = Walk(plan()).agree()
    before = walk.deadlines
    walk.say(words)
    assert walk.last in ("nothing_open", "agreed_wait")
    assert walk.deadlines == before


def test_an_outage_that_outlasts_a_pause_ends_it() -> None:
    walk = at("placing.place")
    walk.say("pause")
    walk.gap(20)
    assert walk.last == "catch_up"
    assert walk.visit.paused_until is None
    walk = at("placing.place")
    walk.say("pause")
    walk.gap(5)
    assert walk.last == "paused"


def test_saying_the_question_again_changes_none_of_its_times() -> None:
    walk = at("placing.place")
    before = walk.deadlines
    assert walk.order("ask", ONCALL) == "ok"
    assert walk.last == "place"
    assert walk.deadlines == before
    walk.say("help")
    assert walk.order("ask", ONCALL) == "nothing"
