"""Hold, outages, and runbooks other than the sample."""

from typing import Any

import pytest

from bot.model.fact import Gap
from bot.model.policy import MINUTE
from bot.model.runbook import Runbook
from tests.model.kit import (
    ADMIN,
    OTHER,
    SECOND_UNIT,
    SERIAL,
    START,
    UNIT,
    Walk,
    book,
    context,
    plan,
)


def at(place: str, **kwargs: object) -> Walk:
    return Walk(plan(**kwargs)).to(place)  # type: ignore[arg-type]


# --- hold ----------------------------------------------------------------------------------


@pytest.mark.parametrize("place", ["mobile_data.mobile", "inventory.unpack", "placing.place"])
def test_hold_stops_who_has_not_reached_a_stage_that_interrupts_service(place: str) -> None:
    walk = at(place)
    walk.hold()
    assert walk.last == "held_wait"
    assert walk.visit.question is None
    walk.advance(10)
    assert walk.last == "held_wait"
    walk.resume()
    assert walk.asked() == place
    assert walk.said[-2] == "held_over"


@pytest.mark.parametrize("place", ["cabling.cable", "loading.light", "registry.light"])
def test_those_past_it_finish(place: str) -> None:
    walk = at(place)
    walk.hold()
    assert walk.asked() == place
    walk.to("registry.light")
    walk.register()
    walk.press("done")
    assert walk.visit.state == "done"


def test_who_would_reach_it_during_a_hold_waits_before() -> None:
    walk = at("placing.place")
    walk.context = context(held=True)  # what tells the visit so is still on its way
    walk.press("done")
    assert walk.last == "held_wait"
    assert not walk.visit.out_of_service


def test_a_held_wave_starts_nobody() -> None:
    walk = Walk(plan()).agree()
    walk.hold()
    assert walk.last == "agreed"  # nothing to say before its time
    walk.until(START)
    assert walk.last == "held_wait"
    assert "begin" not in walk.said
    walk.resume()
    assert walk.asked() == "begin.begin"


def test_a_hold_lifted_before_the_start_is_never_noticed() -> None:
    walk = Walk(plan()).agree()
    walk.hold()
    walk.resume()
    walk.until(START)
    assert walk.last == "begin"
    assert "held_wait" not in walk.said


def test_a_held_site_hears_from_us_and_in_the_end_gets_another_evening() -> None:
    walk = at("placing.place")
    walk.hold()
    walk.advance(30)
    assert walk.last == "held_still"
    walk.advance(60)
    assert walk.visit.state == "rebook"
    assert walk.last == "held_too_long"
    assert walk.causes() == ["not_started"]


def test_a_held_contact_may_still_ask_for_a_person() -> None:
    walk = at("placing.place")
    walk.hold()
    walk.say("help")
    assert walk.causes() == ["help"]
    walk.call_press("take")
    walk.call_press("close_fixed")
    assert walk.visit.waits_hold
    assert walk.deadlines
    walk.resume()
    assert walk.asked() == "placing.place"


def test_word_of_a_hold_that_comes_late_does_nothing() -> None:
    walk = at("placing.place")
    walk.tell("held")  # lifted again in the meantime
    assert walk.asked() == "placing.place"


def test_a_registration_ends_the_wait_of_a_held_site() -> None:
    walk = at("placing.place")
    walk.hold()
    walk.register()
    assert walk.asked() == "wrap_up.tidy"


def test_as_a_person_decides_one_past_it_stops() -> None:
    walk = at("loading.light")
    walk.hold()
    walk.order("rebook", ADMIN)
    assert walk.visit.state == "rebook"
    assert walk.causes() == ["without_service"]


# --- our own outage ------------------------------------------------------------------------


def test_our_outage_adds_its_time_and_asks_one_catch_up_question() -> None:
    walk = at("placing.place")
    question = walk.visit.question
    assert question is not None
    assert question.asked_at is not None
    walk.advance(3)
    walk.gap(10)
    assert walk.last == "catch_up"
    assert walk.deadlines["window"] == question.asked_at + 30 * MINUTE
    assert walk.deadlines["nudge"] == walk.now + 7 * MINUTE  # the catch-up is an asking
    walk.advance(3)
    assert walk.last == "catch_up"  # no storm: the nudge waits its time
    walk.press("done")
    assert walk.asked() == "cabling.cable"


def test_the_line_is_not_blamed_for_our_absence() -> None:
    walk = at("power_on.power")
    before = walk.deadlines["link"]
    walk.gap(79)
    assert walk.deadlines["link"] == before + 79 * MINUTE
    assert "without_service" not in walk.causes()


def test_two_reports_of_one_outage_count_once() -> None:
    walk = at("placing.place")
    before = walk.deadlines["window"]
    walk.gap(10)
    again = Gap(
        id="the same outage, as the chat saw it",
        subject=walk.subject,
        received_at=walk.now,
        since=walk.now - 9 * MINUTE,
        until=walk.now,
        why="chat",
    )
    assert walk.bring(again) == "nothing"
    assert walk.deadlines["window"] == before + 10 * MINUTE
    assert walk.said.count("catch_up") == 1


def test_a_checkpoint_the_contact_moved_is_not_due_at_once_after_an_outage() -> None:
    walk = at("placing.place")
    walk.say("give me 5 min")
    walk.gap(10)
    assert walk.deadlines["nudge"] > walk.now


def test_a_question_on_its_way_is_the_catch_up_itself() -> None:
    walk = at("placing.place")
    walk.auto = False
    walk.press("done")
    walk.gap(10)
    assert "catch_up" not in walk.said
    assert walk.deadlines["undelivered"] == walk.now + 15 * MINUTE


def test_an_outage_does_not_count_against_who_was_called() -> None:
    walk = at("placing.place")
    walk.say("help")
    due = walk.visit.open_calls[0].due
    walk.gap(10)
    assert walk.visit.open_calls[0].due == due + 10 * MINUTE


def test_a_time_that_was_stated_is_kept_through_an_outage() -> None:
    walk = at("placing.place")
    walk.say("help")
    walk.call_press("take")
    walk.call_press("later")
    due = walk.visit.open_calls[0].due
    walk.gap(10)
    assert walk.visit.open_calls[0].due == due


def test_what_is_critical_waits_for_nothing_after_an_outage() -> None:
    walk = at("placing.place")
    walk.say("smoke!")
    due = walk.visit.open_calls[0].due
    walk.gap(10)
    assert walk.visit.open_calls[0].due == due


def test_after_a_danger_stop_an_outage_asks_nothing() -> None:
    walk = at("placing.place")
    walk.say("smoke!")
    said = list(walk.said)
    walk.gap(10)
    assert walk.said == said


# --- other runbooks ------------------------------------------------------------------------


def other(**changes: Any) -> Runbook:
    """The sample with other stages; the texts stay."""
    data = book().model_dump()
    names = {f"stage_{s['id']}": f"the step {s['id']}" for s in changes.get("stages", ())}
    data["words"] = {"en": data["words"]["en"] | names}
    data["answers"], data["leaving"], data["cautions"] = (), None, None
    return Runbook.model_validate(data | changes)


def stage(id_: str, *asks: tuple[str, str, str], **more: Any) -> dict[str, Any]:
    made = [{"id": i, "kind": k, "text": t, "nudge": t} for i, k, t in asks]
    return {"id": id_, "asks": made, "checkpoint": 5, "window": 15, **more}


LIGHTS = book().stage("registry").model_dump()["lights"]
PLACING = stage("put", ("put", "confirm", "place"), scope="unit")
WAITING = stage(
    "arrive",
    ("look", "light", "registry"),
    scope="unit",
    powered=True,
    waits_for_registration=True,
    lights=LIGHTS,
)
GOODBYE = stage("bye", ("bye", "confirm", "tidy"))


def test_a_runbook_without_consent_begins_at_the_start() -> None:
    walk = Walk(plan(), context=context(book=other(stages=[PLACING, WAITING, GOODBYE])))
    walk.until(START - 1)
    assert walk.said == []
    walk.advance(1)
    assert walk.asked() == "put.put"
    assert walk.visit.begun_at == START  # no ask tells that somebody is there
    walk.press("done")
    walk.register()
    walk.press("done")
    assert walk.visit.state == "done"


def test_a_runbook_without_consent_is_held_like_any_other() -> None:
    ctx = context(book=other(stages=[PLACING, WAITING, GOODBYE]), held=True)
    walk = Walk(plan(), context=ctx)
    walk.until(START)
    assert walk.last == "held_wait"
    walk.resume()
    assert walk.asked() == "put.put"


def test_the_flag_and_not_a_name_decides_what_interrupts_service() -> None:
    early = {**PLACING, "interrupts_service": True}
    walk = Walk(plan(), context=context(book=other(stages=[early, WAITING, GOODBYE])))
    walk.until(START)
    assert walk.visit.out_of_service
    walk.hold()
    assert walk.asked() == "put.put"


def test_no_word_of_the_contact_passes_the_stage_that_waits() -> None:
    """Whatever kinds of ask it holds, only the registration leads on from it."""
    told = {**WAITING, "asks": [{"id": "ok", "kind": "confirm", "text": "tidy"}], "lights": {}}
    walk = Walk(plan(), context=context(book=other(stages=[told, GOODBYE])))
    walk.until(START)
    for _ in range(3):
        walk.press("done")
        assert walk.asked() == "arrive.ok"
    walk.register()
    assert walk.asked() == "bye.bye"


def test_a_waiting_stage_of_the_visit_waits_for_every_unit() -> None:
    waiting = {**WAITING, "scope": "visit", "powered": False}
    ctx = context(book=other(stages=[PLACING, waiting, GOODBYE]))
    walk = Walk(plan((UNIT, SECOND_UNIT)), context=ctx)
    walk.until(START)
    walk.press("done")
    walk.press("done")
    assert walk.asked() == "arrive.look"
    walk.press("light:registered")
    assert walk.asked() == "arrive.look"
    walk.register(SERIAL)
    assert walk.asked() == "arrive.look"
    walk.register(OTHER)
    assert walk.asked() == "bye.bye"


def test_asks_around_consent_are_all_put() -> None:
    first = stage("hello", ("ready", "confirm", "unpack"), ("time", "consent", "invite"))
    then = stage("more", ("bring", "confirm", "unpack"), ("here", "begin", "begin"))
    ctx = context(book=other(stages=[first, then, PLACING, WAITING, GOODBYE]))
    walk = Walk(plan(), context=ctx)
    walk.advance(0)
    assert walk.asked() == "hello.ready"
    walk.press("done")
    assert walk.asked() == "hello.time"
    walk.press("yes")
    walk.until(START)
    assert walk.asked() == "more.bring"
    walk.press("done")
    walk.press("here")
    assert walk.asked() == "put.put"


def test_without_a_stage_that_reads_it_no_unknown_version_is_powered() -> None:
    unknown = UNIT.__class__(SERIAL, "HG-10")
    ctx = context(book=other(stages=[PLACING, WAITING, GOODBYE]))
    walk = Walk(plan((unknown,)), context=ctx)
    walk.until(START)
    walk.press("done")
    assert walk.causes() == ["mismatch"]
    walk.call_press("take")
    walk.call_press("close_false_alarm")  # a person knows better
    assert walk.asked() == "arrive.look"


def test_power_lost_where_no_light_is_watched_starts_the_stage_again() -> None:
    on = stage("on", ("plug", "confirm", "power"), scope="unit", powered=True)
    watch = stage("sit", ("sit", "confirm", "place"), scope="unit", powered=True)
    waiting = {**WAITING, "powered": False}
    ctx = context(book=other(stages=[on, watch, waiting, GOODBYE]))
    walk = Walk(plan(), context=ctx)
    walk.until(START)
    walk.press("done")
    assert walk.asked() == "sit.sit"
    walk.say("I turned it off and on again")
    assert walk.asked() == "sit.sit"
    assert walk.last == "place"


def test_a_runbook_that_ends_with_the_registration() -> None:
    walk = Walk(plan(), context=context(book=other(stages=[PLACING, WAITING])))
    walk.until(START)
    walk.press("done")
    walk.register()
    assert walk.visit.state == "done"
    assert walk.said[-2:] == ["online_thanks", "goodbye"]
