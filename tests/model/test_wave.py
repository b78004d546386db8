"""The wave: opening, hold and resume, danger from strangers, the pinned summary, its end."""

from itertools import pairwise
from typing import Any

import pytest
from msgspec.structs import replace

from bot.model.fact import Actor
from bot.model.policy import MINUTE
from bot.model.wave.state import WavePlan
from tests.model.kit import (
    CONTACT,
    ONCALL,
    STRANGER,
    Walk,
    book,
    context,
    plan,
    soaked,
    worded,
)
from tests.model.kit_wave import OPENS, WAVE_PLAN, WaveWalk

SMOKE = "there is smoke in the server room"


def opened(**changes: Any) -> WaveWalk:
    walk = WaveWalk(**changes)
    walk.advance(60)
    assert walk.wave.state == "open"
    return walk


def test_planning_makes_the_staged_rows_live() -> None:
    walk = WaveWalk()
    assert walk.told == ["staged"]
    assert walk.deadlines == {"open": OPENS}


def test_it_opens_at_its_time() -> None:
    walk = WaveWalk()
    walk.advance(59)
    assert walk.wave.state == "planned"
    walk.advance(1)
    assert walk.wave.state == "open"


def test_it_opens_not_while_the_person_on_call_cannot_be_woken() -> None:
    walk = WaveWalk(may_open=False)
    walk.advance(60)
    assert walk.wave.state == "planned"
    assert (walk.wave.held, walk.held) == (True, True)
    assert walk.team == ["wave_held"]
    walk.advance(30)
    assert walk.team == ["wave_held"]  # said once
    walk.context = replace(walk.context, may_open=True)
    walk.advance(15)
    assert walk.wave.state == "open"
    assert (walk.wave.held, walk.held) == (False, False)


@pytest.mark.parametrize("by", [STRANGER, Actor(CONTACT.user), ONCALL])
@pytest.mark.parametrize("order", ["hold", "resume", "close"])
def test_only_an_admin_holds_resumes_and_closes(by: Actor, order: str) -> None:
    walk = opened()
    before = walk.wave
    assert walk.order(order, by) == "not_yours"
    assert walk.wave == before


def test_hold_and_resume_are_told_to_every_visit() -> None:
    walk = opened()
    assert walk.order("hold") == "ok"
    assert (walk.wave.held, walk.held) == (True, True)
    assert walk.told[-1] == "held"
    assert walk.order("hold") == "nothing"
    assert walk.order("resume") == "ok"
    assert (walk.wave.held, walk.held) == (False, False)
    assert walk.told[-1] == "resumed"
    assert walk.order("resume") == "nothing"


@pytest.mark.parametrize("what", ["danger", "without_service", "unanswered"])
def test_what_holds_new_starts_at_once(what: str) -> None:
    walk = opened()
    walk.tell(what)
    assert walk.wave.holds == (what,)
    assert walk.team[-1] == "wave_held"
    walk.tell(what, "other-site")
    assert walk.team.count("wave_held") == 1


@pytest.mark.parametrize("what", ["online", "lost", "done", "else"])
def test_what_holds_nothing(what: str) -> None:
    walk = opened()
    walk.tell(what)
    assert not walk.wave.held


def test_after_a_resume_the_next_danger_holds_again() -> None:
    walk = opened()
    walk.tell("danger")
    walk.order("resume")
    walk.tell("danger", "other-site")
    assert walk.wave.held
    assert walk.told[-3:] == ["held", "resumed", "held"]


def test_danger_from_someone_tied_to_no_visit_calls_and_holds() -> None:
    walk = opened()
    assert walk.say(SMOKE) == "danger"
    assert walk.wave.holds == ("danger",)
    call = walk.wave.calls[0]
    assert (call.cause, call.severity, call.called_at) == ("danger", "critical", walk.now)
    assert walk.team[-1] == "wave_call"
    walk.say("sparks as well")
    assert len(walk.wave.calls) == 1
    assert walk.team[-1] == "wave_call_danger_again"


def test_other_words_in_the_waves_channel_do_nothing() -> None:
    walk = opened()
    before = walk.wave
    assert walk.say("done") == "nothing"
    assert walk.say("is there any smoke?", ONCALL) == "nothing"
    assert walk.say("no smoke here") == "nothing"  # a denial is no danger from anyone
    assert walk.wave.holds == ()
    assert walk.wave == before


def test_a_call_of_the_wave_climbs_and_repeats() -> None:
    walk = opened()
    walk.say(SMOKE)
    walk.advance(5 * 4)
    assert "unanswered" in walk.wave.holds
    assert walk.wave.calls[0].rounds == 1
    walk.call_press("take")
    walk.call_press("close_false_alarm")
    assert walk.wave.held  # until a person resumes
    assert "call:e1" not in walk.deadlines


def test_the_summary_is_kept_current_and_coalesced() -> None:
    walk = opened()
    site = Walk(plan())
    walk.visits = [site.visit]
    walk.advance(1)
    first = len(walk.pins)
    walk.advance(30)
    assert len(walk.pins) == first  # nothing new to say, nothing said
    site.to("registry.light")
    site.register()
    walk.visits = [site.visit]
    walk.advance(1)
    assert {m.thread for m in walk.pins} == {"wave:0", "wave:1"}
    assert len(walk.pins) == first + 2
    assert "1 of 1 units online" in worded(walk.pins[-1])
    assert [m.rev for m in walk.pins if m.thread == "wave:0"] == sorted({m.rev for m in walk.pins})


def test_the_summary_changes_at_most_once_a_minute() -> None:
    walk = opened()
    site = Walk(plan())
    stamps = []
    for _ in range(8):
        walk.visits = [*walk.visits, site.visit]
        before = len(walk.pins)
        walk.advance(0.25)
        stamps += [m.made_at for m in walk.pins[before:] if m.thread == "wave:0"]
    assert all(b - a >= MINUTE for a, b in pairwise(stamps))


def test_it_closes_when_every_site_is_settled() -> None:
    walk = opened()
    site = Walk(plan(), context=context(book=soaked(book(), 30))).to("registry.light")
    site.register()
    walk.visits = [site.visit]
    walk.advance(2)
    assert walk.wave.state == "open"
    site.press("done")
    walk.visits = [site.visit]
    walk.advance(2)
    assert walk.wave.state == "open"  # the soak goes on
    site.advance(30)
    walk.visits = [site.visit]
    walk.advance(2)
    assert walk.wave.state == "closed"
    assert "closed" in worded(walk.pins[-1])
    assert set(walk.deadlines) == {"handover"}


def test_a_new_evening_opens_a_closed_wave_again() -> None:
    walk = opened()
    walk.order("close")
    walk.advance(2)
    assert walk.wave.state == "closed"
    walk.plan(WavePlan(("C1",), walk.now + 30 * MINUTE, "s2", 1))
    walk.advance(30)
    assert walk.wave.state == "open"
    assert "pin" in walk.deadlines


def test_importing_again_does_not_close_or_hold_an_open_wave() -> None:
    walk = opened()
    walk.plan(WAVE_PLAN)
    assert walk.wave.state == "open"


def test_our_outage_is_one_message_to_the_team_and_one_fact_to_each_visit() -> None:
    walk = opened()
    walk.gap(10)
    assert walk.team == ["outage"]
    assert walk.told[-1] == "gap"


def test_replaying_the_journal_gives_the_wave() -> None:
    walk = opened()
    walk.say(SMOKE)
    walk.order("resume")
    walk.advance(20)
    assert walk.replayed() == walk.wave


# --- while nobody on call has confirmed a way ---------------------------------------------------


def test_it_does_not_open_while_nobody_on_call_has_confirmed_a_way() -> None:
    walk = WaveWalk(reachable=False)
    walk.advance(61)
    assert walk.wave.state == "planned"
    assert walk.wave.holds == ("untested",)
    assert walk.held is True
    walk.advance(60)
    assert walk.team == ["wave_held_untested"]  # told once
    walk.context = replace(walk.context, reachable=True)
    walk.advance(2)
    assert walk.wave.state == "open"
    assert not walk.wave.held


def test_an_open_wave_is_held_when_the_turn_changes_and_goes_on_when_they_confirm() -> None:
    walk = WaveWalk(reachable=True)
    walk.visits = [Walk(plan()).visit]
    walk.advance(62)
    assert walk.wave.state == "open"
    walk.context = replace(walk.context, reachable=False)
    walk.advance(2)
    assert walk.wave.holds == ("untested",)
    assert walk.order("resume") == "untested"
    assert walk.wave.held
    walk.context = replace(walk.context, reachable=True)
    walk.advance(2)
    assert not walk.wave.held
    assert walk.told.count("held") == walk.told.count("resumed") == 1


def test_that_they_confirm_lifts_no_other_hold() -> None:
    walk = WaveWalk(reachable=True)
    walk.visits = [Walk(plan()).visit]
    walk.advance(62)
    walk.order("hold")
    walk.context = replace(walk.context, reachable=False)
    walk.advance(2)
    walk.context = replace(walk.context, reachable=True)
    walk.advance(2)
    assert walk.wave.held
    assert walk.order("resume") == "ok"
    assert not walk.wave.held


def test_a_site_that_waits_for_want_of_a_test_is_told_to_go_on_where_there_is_one_by_now() -> None:
    walk = WaveWalk(reachable=True)
    walk.advance(62)
    walk.tell("untested")
    assert walk.told[-1:] == ["resumed"]
    walk.context = replace(walk.context, reachable=False)
    walk.tell("untested")
    assert walk.wave.holds == ("untested",)
    assert walk.told[-1:] == ["held"]


def test_with_nothing_left_to_start_a_turn_without_a_test_holds_nothing() -> None:
    walk = WaveWalk(reachable=True)
    walk.visits = [Walk(plan()).to("loading.light").visit]
    walk.advance(62)
    walk.context = replace(walk.context, reachable=False)
    walk.advance(10)
    assert not walk.wave.held
