"""Danger stops a visit at once, and only a person restarts it."""

import pytest

from bot.model.fact import Actor
from tests.model.kit import ADMIN, CONTACT, DEPUTY, ONCALL, SECOND, STRANGER, Walk, plan

SMOKE = "there is smoke coming out of it"


def stopped(place: str = "loading.light") -> Walk:
    walk = Walk(plan()).to(place)
    walk.say(SMOKE)
    return walk


@pytest.mark.parametrize("user", [CONTACT.user, DEPUTY.user, STRANGER, ONCALL, ADMIN])
def test_words_of_danger_count_from_anyone(user: Actor | str) -> None:
    walk = Walk(plan()).to("loading.light")
    assert walk.say(SMOKE, user) == "danger"
    assert walk.visit.stopped_at == walk.now
    assert walk.visit.question is None
    assert walk.told[-1] == "danger"


def test_on_call_and_admin_are_called_at_once_and_critical() -> None:
    walk = stopped()
    call = walk.visit.open_calls[0]
    assert (call.cause, call.severity, call.called_at) == ("danger", "critical", walk.now)
    assert walk.called == f"{ONCALL.user} {SECOND.user} {ADMIN.user}"


def test_the_fixed_answer_is_said_in_the_thread_when_the_words_fell_elsewhere() -> None:
    walk = Walk(plan()).to("loading.light")
    walk.say(SMOKE, place="direct")
    assert walk.last == "danger"
    walk = Walk(plan()).to("loading.light")
    walk.say(SMOKE, place="thread")  # there the handler has said it already
    assert "danger" not in walk.said


def test_no_nudge_and_no_question_after_a_stop() -> None:
    walk = stopped()
    said = len(walk.said)
    walk.advance(180)
    assert set(walk.said[said:]) <= {"nobody_yet_danger"}
    assert walk.visit.question is None


def test_an_edit_that_says_danger_counts() -> None:
    walk = Walk(plan()).to("loading.light")
    walk.say("done", edited=True)
    assert walk.visit.stopped_at is None
    walk.say(SMOKE, edited=True)
    assert walk.visit.stopped_at is not None


def test_danger_before_the_evening_stops_the_invitation() -> None:
    walk = Walk(plan())
    walk.say("the socket is sparking")
    walk.advance(60 * 30)
    assert "invite" not in walk.said
    assert walk.visit.state == "planned"


def test_a_registration_during_danger_is_recorded_and_nothing_more() -> None:
    walk = stopped()
    said = list(walk.said)
    walk.register()
    assert walk.visit.units[0].online
    assert walk.visit.stopped_at is not None
    assert walk.said == said
    assert walk.causes() == ["danger"]
    assert walk.visit.open_calls[0].cleared_at is None


def test_danger_after_the_registration_stops_as_well() -> None:
    walk = Walk(plan()).to("registry.light")
    walk.register()
    walk.say(SMOKE)
    assert walk.visit.stopped_at is not None
    assert walk.visit.question is None


def test_danger_after_the_visit_is_done() -> None:
    walk = Walk(plan()).to("registry.light")
    walk.register()
    walk.press("done")
    walk.say(SMOKE)
    assert walk.causes() == ["danger"]
    assert walk.deadlines


def test_danger_again_is_passed_on_but_is_one_call() -> None:
    walk = stopped()
    walk.advance(2)
    walk.say("sparks too")
    assert walk.causes() == ["danger"]
    assert walk.team[-1] == "call_danger_again"


def test_the_contact_cannot_restart() -> None:
    walk = stopped()
    walk.advance(3)
    walk.say("done, all fine now")
    assert walk.last == "stopped_wait"
    assert walk.order("restart", Actor(CONTACT.user)) == "not_yours"
    assert walk.visit.stopped_at is not None


def test_the_wave_going_on_does_not_restart_a_stopped_site() -> None:
    walk = stopped("inventory.unpack")
    walk.hold()
    said = list(walk.said)
    walk.resume()
    assert walk.said == said
    assert walk.visit.question is None


def test_an_import_does_not_restart_a_stopped_site() -> None:
    walk = Walk(plan())
    walk.say("the socket is sparking")
    walk.plan(plan(start=walk.visit.start + 1))
    assert walk.visit.stopped_at is not None


@pytest.mark.parametrize("by", [ONCALL, ADMIN])
def test_a_person_of_the_team_restarts(by: Actor) -> None:
    walk = stopped()
    walk.advance(5)
    assert walk.order("restart", by) == "ok"
    assert walk.visit.stopped_at is None
    assert walk.causes() == []
    assert walk.said[-2:] == ["restarted", "loading"]
    assert walk.asked() == "loading.light"
    assert walk.order("restart", by) == "nothing"


def test_closing_the_call_as_solved_restarts_too() -> None:
    walk = stopped()
    walk.call_press("take")
    walk.call_press("close_false_alarm")
    assert walk.visit.stopped_at is None
    assert walk.asked() == "loading.light"


def test_closing_a_danger_call_needs_a_reason() -> None:
    walk = stopped()
    walk.call_press("take")
    walk.call_press("close")
    assert walk.team[-1] == "call_why"
    assert walk.call_press("close_cleared") == "needs_reason"
    assert walk.visit.stopped_at is not None


def test_on_call_who_asks_about_smoke_does_not_stop_the_site() -> None:
    walk = Walk(plan()).to("loading.light")
    walk.say("is there any smoke?", ONCALL)
    assert walk.visit.stopped_at is None
    walk.say("is there smoke?")  # from the site it counts
    assert walk.visit.stopped_at is not None


def test_a_site_that_must_also_wait_for_another_call_is_not_told_to_go_on() -> None:
    walk = Walk(plan()).to("loading.light")
    walk.press("light:fault")
    walk.say(SMOKE)
    walk.order("restart", ONCALL)
    assert "restarted" not in walk.said
    assert walk.visit.question is None
    assert walk.causes() == ["fault"]
