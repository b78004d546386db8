"""Going back to the old unit: who is asked when, what is done without an answer, and the walk."""

from typing import Any

import pytest
from msgspec.structs import replace

from bot.model.calls import event as c
from bot.model.policy import MINUTE
from bot.model.runbook import Runbook
from bot.model.visit import back_events as b
from tests.model.kit import (
    ADMIN,
    CONTACT,
    DEPUTY,
    ONCALL,
    SECOND_UNIT,
    SERIAL,
    START,
    UNIT,
    Walk,
    book,
    context,
    plan,
)

END = START + 180 * MINUTE
#: Of the demo runbook: the walk back takes 30 minutes, and on-call is asked 30 before.
LATEST, ASKED = END - 30 * MINUTE, END - 60 * MINUTE


def with_rule(rule: str) -> Runbook:
    back = book().back_out
    assert back is not None
    changed = {"back_out": back.model_copy(update={"without_answer": rule})}
    return book().model_copy(update=changed)


def cut(rule: str = "keep_calling", *, end: int | None = END, units: Any = (UNIT,)) -> Walk:
    """The line is off and the new unit loads."""
    walk = Walk(plan(units, end=end), context=context(book=with_rule(rule)))
    walk.to("loading.light")
    return walk


def talked_until(walk: Walk, instant: int) -> Walk:
    """The contact goes on telling us that it loads, so that nothing else is called for."""
    while walk.now + 5 * MINUTE < instant:
        walk.advance(5)
        if walk.visit.question and walk.visit.question.ask == "over":
            walk.press("go_on")
        else:
            walk.say("white, blinking slowly")
    walk.until(instant)
    return walk


def asked(walk: Walk) -> Walk:
    return talked_until(walk, ASKED)


def events(walk: Walk, kind: type) -> list[Any]:
    return [event for event, _ in walk.journal if isinstance(event, kind)]


def walked(walk: Walk, last: str = "old_works") -> Walk:
    for place in ("back_unplug.unplug", "back_cable.cable", "back_power.power"):
        assert walk.asked() == place
        walk.press("done")
    assert walk.asked() == "back_works.works"
    walk.press(last)
    return walk


def lasting(walk: Walk) -> list[str]:
    """Causes of the calls whose condition is not over."""
    return [c.cause for c in walk.visit.open_calls if c.cleared_at is None]


def test_on_call_is_asked_in_good_time() -> None:
    walk = asked(cut())
    assert "back_out" in walk.causes()
    call = next(x for x in walk.visit.calls if x.cause == "back_out")
    assert (call.severity, call.called_at) == ("major", ASKED)
    assert walk.visit.back.latest == LATEST
    assert "21:30" in walk.text("call_back_ask")


def test_nobody_is_asked_where_the_service_was_not_interrupted() -> None:
    walk = Walk(plan(end=END)).to("placing.place")
    assert "back_ask" not in walk.deadlines
    assert "back_ask" in cut().deadlines


def test_without_an_end_in_the_site_list_the_window_follows_from_the_visit() -> None:
    walk = cut(end=None)
    began = walk.visit.begun_at
    assert walk.deadlines["back_ask"] == began + (40 + 20) * MINUTE


def test_a_registration_ends_the_question() -> None:
    walk = asked(cut())
    walk.register()
    assert all(c.cleared_at is not None for c in walk.visit.open_calls if c.cause == "back_out")
    assert not any(kind.startswith("back_") for kind in walk.deadlines)


def press(walk: Walk, verb: str, by: Any = ONCALL) -> str:
    call = next(x for x in walk.visit.open_calls if x.cause == "back_out")
    return walk.press_action(f"b:{call.id}:{verb}", by)


@pytest.mark.parametrize(
    ("args", "until"),
    [({}, ASKED + 30 * MINUTE), ({"minutes": "45"}, ASKED + 45 * MINUTE), ({"risk": "yes"}, None)],
)
def test_an_order_to_go_on_is_for_ever_only_where_it_says_so(
    args: dict[str, str], until: int | None
) -> None:
    walk = asked(cut())
    assert walk.order("go_on", ONCALL, **args) == "ok"
    assert events(walk, b.GoneOn) == [b.GoneOn(ONCALL.user, until)]


def test_going_on_is_a_named_decision_and_asked_anew_in_its_time() -> None:
    walk = asked(cut())
    assert press(walk, "go_on") == "ok"
    assert press(walk, "m30") == "ok"
    assert events(walk, b.GoneOn) == [b.GoneOn(ONCALL.user, ASKED + 30 * MINUTE)]
    assert "back_out" not in walk.causes()
    talked_until(walk, ASKED + 30 * MINUTE)
    assert "back_out" in walk.causes()
    assert walk.visit.back.latest == ASKED + 40 * MINUTE


def test_who_takes_the_risk_is_named_and_not_asked_again() -> None:
    walk = asked(cut())
    press(walk, "risk", ADMIN)
    assert events(walk, b.GoneOn) == [b.GoneOn(ADMIN.user, None)]
    assert not any(kind.startswith("back_") for kind in walk.deadlines)


def test_only_the_team_decides() -> None:
    walk = asked(cut())
    for user in (CONTACT.user, DEPUTY.user, "U0NOBODY"):
        assert press(walk, "back_out", user) == "not_yours"
    assert not walk.visit.back.walking


def test_the_walk_back_is_step_by_step_and_ends_backed_out() -> None:
    walk = asked(cut())
    assert press(walk, "back_out") == "ok"
    assert walk.visit.back.walking
    assert walk.visit.back.by == ONCALL.user
    walked(walk)
    visit = walk.visit
    assert (visit.state, visit.link_down_at, visit.question) == ("backed_out", None, None)
    assert visit.back.why == "reason_back_time"
    assert walk.last == "back_done"
    assert lasting(walk) == ["not_started"]
    assert visit.open_calls[-1].first == "admin"


def test_words_answer_the_last_question() -> None:
    walk = asked(cut())
    press(walk, "back_out")
    for said in ("done", "it is in, done", "done"):
        walk.advance(1)
        walk.say(said)
    assert walk.asked() == "back_works.works"
    walk.say("yes it does")
    assert walk.visit.state == "backed_out"


def test_an_old_unit_that_does_not_work_calls_everybody_at_once() -> None:
    walk = asked(cut())
    press(walk, "back_out")
    walked(walk, "old_fails")
    call = next(x for x in walk.visit.open_calls if x.cause == "without_service")
    assert lasting(walk).count("without_service") == 1
    assert call.severity == "critical"
    calls = [(ev.call, at) for ev, at in walk.journal if isinstance(ev, c.Called)]
    assert calls[-1] == (call.id, walk.now)
    assert {ONCALL.user, ADMIN.user} <= set(walk.called.split())
    assert walk.visit.link_down_at is not None
    assert "without_service" in walk.told
    assert walk.asked() == "back_works.old_again"
    walk.advance(5)
    walk.press("old_works")
    assert walk.visit.state == "backed_out"
    assert walk.causes(open_only=False).count("without_service") == 1


def test_silence_on_the_way_back_calls_everybody() -> None:
    walk = asked(cut())
    press(walk, "back_out")
    walk.advance(5 + 15 + 6)
    assert "without_service" in walk.causes()
    walk.say("done")
    assert walk.asked() == "back_cable.cable"


def test_without_an_answer_nothing_is_changed_by_default_and_everybody_is_called() -> None:
    walk = talked_until(cut(), LATEST + MINUTE)
    assert not walk.visit.back.walking
    assert {"back_out", "without_service"} <= set(walk.causes())
    assert walk.visit.back.late
    assert press(walk, "back_out") == "ok"  # it may still be decided
    walked(walk)
    assert walk.visit.state == "backed_out"


def test_without_an_answer_the_site_is_walked_back_where_the_runbook_says_so() -> None:
    walk = talked_until(cut("back_out"), LATEST)
    assert walk.visit.back.walking
    assert walk.visit.back.by == ""
    assert {"back_out", "without_service"} <= set(walk.causes())  # a person is called anyway
    walked(walk)
    assert walk.visit.state == "backed_out"
    assert walk.visit.back.why == "reason_no_decision"


def test_nobody_is_walked_back_under_the_hands_of_a_person() -> None:
    walk = talked_until(cut("back_out"), LATEST - MINUTE)
    walk.order("take_over", ONCALL)
    walk.advance(2)
    assert not walk.visit.back.walking
    assert "without_service" in walk.causes()


def test_danger_stays_above_all() -> None:
    walk = asked(cut("back_out"))
    walk.say("there is smoke coming out")
    assert press(walk, "back_out") == "stopped"
    assert walk.order("back_out", ADMIN) == "stopped"
    walk.until(LATEST + MINUTE)
    assert not walk.visit.back.walking
    assert walk.visit.stopped_at is not None


def test_danger_on_the_way_back_stops_it_until_a_person_restarts() -> None:
    walk = asked(cut())
    press(walk, "back_out")
    walk.say("there are sparks")
    assert walk.visit.question is None
    assert walk.order("restart", ADMIN) == "ok"
    assert walk.asked() == "back_unplug.unplug"


def test_ordered_at_any_time() -> None:
    walk = cut()
    assert walk.order("back_out", ADMIN) == "ok"
    assert walk.asked() == "back_unplug.unplug"
    walked(walk)
    assert walk.visit.back.why == "reason_as_ordered"


def test_what_was_never_cut_needs_no_walk() -> None:
    walk = Walk(plan(end=END)).to("placing.place")
    assert walk.order("back_out", ADMIN) == "ok"
    assert walk.visit.state == "backed_out"
    assert walk.last == "back_unchanged"


def test_a_call_that_blocks_does_not_stop_the_walk_back() -> None:
    walk = cut()
    walk.press("light:fault")
    walk.advance(2)
    walk.call_press("take")
    call = next(x for x in walk.visit.open_calls if x.cause == "fault")
    assert walk.press_action(f"b:{call.id}:back_out", ONCALL) == "ok"
    assert walk.visit.back.why == "cause_fault"
    walked(walk)
    assert walk.visit.state == "backed_out"


def test_a_unit_that_registers_on_the_way_is_told_and_a_person_may_go_on() -> None:
    walk = asked(cut())
    press(walk, "back_out")
    walk.register()
    assert walk.visit.back.walking
    assert walk.visit.link_down_at is not None  # nobody knows yet which cable is where
    assert press(walk, "go_on") == "ok"
    assert not walk.visit.back.walking
    assert walk.visit.link_down_at is None
    assert walk.asked() == "wrap_up.tidy"


def test_going_on_after_steps_were_walked_back_begins_with_the_cable() -> None:
    walk = asked(cut())
    press(walk, "back_out")
    walk.press("done")
    assert walk.order("go_on", ONCALL) == "ok"
    assert walk.asked() == "cabling.cable"


def test_a_unit_unplugged_as_asked_is_no_call() -> None:
    walk = asked(cut())
    press(walk, "back_out")
    walk.register()
    walk.register(kind="lost")
    walk.report("config-error", "line 12")
    assert "lost" not in walk.causes()
    assert "fault" not in lasting(walk)
    walked(walk)
    walk.advance(24 * 60)
    assert lasting(walk) == ["not_started"]


def test_a_new_date_plans_it_anew_with_fresh_units_and_the_record_kept() -> None:
    walk = asked(cut())
    press(walk, "back_out")
    walk.register()
    walked(walk)
    call = next(x for x in walk.visit.open_calls if x.cause == "not_started")
    assert walk.press_action(f"b:{call.id}:d7", ADMIN) == "ok"
    visit = walk.visit
    assert visit.state == "planned"
    assert visit.start == START + (7 * 24 + 1) * 60 * MINUTE  # the clocks go back in between
    assert visit.units[0].registered_at is None
    assert [(p.why, p.by) for p in visit.back.past] == [("reason_back_time", ONCALL.user)]
    walk.begin()
    assert walk.asked().startswith("mobile_data")


def test_several_units_are_unplugged_one_by_one() -> None:
    walk = cut(units=(UNIT, SECOND_UNIT))
    walk.order("back_out", ADMIN)
    asked_of = []
    while walk.visit.state == "running":
        asked_of.append((walk.visit.question.stage, walk.visit.question.unit))
        walk.press("old_works" if walk.asked() == "back_works.works" else "done")
    assert asked_of == [
        ("back_unplug", SECOND_UNIT.serial),
        ("back_cable", SECOND_UNIT.serial),
        ("back_unplug", SERIAL),
        ("back_cable", SERIAL),
        ("back_power", ""),
        ("back_works", ""),
    ]


def test_a_rebooked_site_without_its_line_is_never_forgotten() -> None:
    walk = cut()
    walk.order("rebook")
    for _ in range(4):
        open_now = [c for c in walk.visit.open_calls if c.cleared_at is None]
        for call in open_now:
            walk.press_action(f"e:{call.id}:take", ADMIN)
            walk.press_action(f"e:{call.id}:close_rebook", ADMIN)
        assert walk.deadlines, "no line, nobody called, and nothing is due"
        walk.advance(61)
        assert "without_service" in walk.causes()
    call = walk.visit.open_calls[-1]
    walk.press_action(f"e:{call.id}:take", ADMIN)
    walk.press_action(f"e:{call.id}:close_fixed", ADMIN)
    assert walk.visit.link_down_at is None
    assert events(walk, b.LineVouched) == [b.LineVouched(ADMIN.user)]


def test_a_rebooked_site_can_still_be_walked_back() -> None:
    walk = cut()
    walk.order("rebook")
    assert walk.order("back_out", ADMIN) == "ok"
    walked(walk)
    assert walk.visit.state == "backed_out"
    assert "without_service" not in [c.cause for c in walk.visit.open_calls if not c.cleared_at]


def test_a_runbook_without_a_way_back_says_so() -> None:
    plain = book().model_copy(update={"back_out": None})
    walk = Walk(plan(end=END), context=context(book=plain)).to("loading.light")
    assert not any(kind.startswith("back_") for kind in walk.deadlines)
    assert walk.order("back_out", ADMIN) == "no_way_back"
    assert walk.visit.state == "running"


def test_a_time_away_does_not_move_the_window() -> None:
    walk = cut()
    walk.gap((LATEST - walk.now) / MINUTE + 5)
    walk.advance(1)
    assert {"back_out"} <= set(walk.causes())
    assert replace(walk.visit).back.latest == walk.visit.back.latest


def test_who_decides_lets_the_others_sleep_until_the_walk_back_should_be_over() -> None:
    """They were called since the site is without service; a failed walk back calls them again."""
    walk = talked_until(cut("keep_calling"), LATEST + MINUTE)
    call = next(x for x in walk.visit.open_calls if x.cause == "without_service")
    assert press(walk, "back_out") == "ok"
    known = walk.visit.call(call.id)
    assert known is not None
    assert known.due == walk.now + 30 * MINUTE
    walk.advance(2)
    called = len(events(walk, c.Called))
    walked(walk, "old_fails")
    assert len(events(walk, c.Called)) == called + 1


def test_the_call_says_by_when_and_what_happens_without_an_answer() -> None:
    walk = asked(cut("keep_calling"))
    card = next(m for m in reversed(walk.messages) if m.template == "call" and m.root)
    assert card.args["latest"] == str(LATEST)
    assert card.args["first_try"] == "@x:try_back_out_keep_calling"


@pytest.mark.parametrize(("lang", "words"), [("en", "unplugged"), ("de", "ausgesteckt")])
def test_unplugged_on_the_way_back_is_what_was_asked_for(lang: str, words: str) -> None:
    """It is no second loss of power: asked back whether that means done, and nobody is called."""
    made = plan(end=END)
    made = replace(made, contact=replace(made.contact, lang=lang))
    walk = Walk(made).to("loading.light")
    assert walk.order("back_out", ONCALL) == "ok"
    before = walk.causes()
    walk.say(words)
    assert walk.last == "ask_done"
    walk.say(words)
    assert walk.asked() == "back_unplug.unplug"
    assert walk.causes() == before


def test_a_way_back_left_halfway_is_on_record_when_it_is_planned_anew() -> None:
    walk = asked(cut())
    press(walk, "back_out")
    walk.register()
    assert walk.order("rebook", ONCALL) == "ok"
    walk.plan(plan(start=START + 7 * 24 * 60 * MINUTE))
    assert [(p.why, p.by) for p in walk.visit.back.past] == [("reason_back_time", ONCALL.user)]
    assert not walk.visit.back.walking
    assert walk.visit.units[0].registered_at is None
