"""The evening, stage by stage: mobile data, labels, lights, power, the registration."""

import pytest
from msgspec.structs import replace

from bot.model.policy import MINUTE
from tests.model.kit import (
    ADMIN,
    CONTACT,
    ONCALL,
    OTHER,
    SECOND_UNIT,
    SERIAL,
    STRANGER,
    UNIT,
    Walk,
    plan,
)


def at(place: str, **kwargs: object) -> Walk:
    return Walk(plan(**kwargs)).to(place)  # type: ignore[arg-type]


# --- mobile data ---------------------------------------------------------------------------


def test_before_the_line_goes_down_one_message_comes_over_mobile_data() -> None:
    walk = at("mobile_data.mobile")
    assert not walk.visit.out_of_service
    walk.press("done")
    assert walk.asked() == "inventory.unpack"


def test_without_signal_nothing_starts_without_a_number_and_a_time() -> None:
    walk = at("mobile_data.mobile")
    walk.press("no_signal")
    assert walk.asked() == "mobile_data.callback"
    walk.say("what number?")
    assert walk.asked() == "mobile_data.callback"
    walk.say("01632 960123")
    assert walk.asked() == "mobile_data.callback_time"
    assert walk.causes() == []
    walk.say("20:15")
    assert walk.last == "callback_noted"
    assert walk.causes() == ["no_signal"]
    assert walk.visit.question is None
    assert walk.visit.callback
    assert walk.visit.callback_time


def test_a_number_and_a_time_in_one_go() -> None:
    walk = at("mobile_data.mobile")
    walk.say("no signal")
    walk.say("01632 960123 at 8pm please")
    assert walk.causes() == ["no_signal"]


def test_once_the_call_back_is_settled_the_visit_starts() -> None:
    walk = at("mobile_data.mobile")
    walk.say("no signal")
    walk.say("01632 960123 at 20:15")
    walk.advance(2)
    walk.call_press("take", ADMIN)
    walk.call_press("close_fixed", ADMIN)
    assert walk.asked() == "inventory.unpack"


def test_mobile_data_that_works_after_all() -> None:
    walk = at("mobile_data.mobile")
    walk.press("no_signal")
    walk.say("done")
    assert walk.asked() == "inventory.unpack"


def test_no_answer_about_a_number_goes_to_a_person() -> None:
    walk = at("mobile_data.mobile", deputy=None)
    walk.press("no_signal")
    walk.advance(15)
    assert walk.causes() == ["silent"]


# --- labels --------------------------------------------------------------------------------


@pytest.mark.parametrize("typed", [SERIAL, "hml 4f7k2q", "S/N HML-4F7K2Q", "(21)HML-4F7K2Q"])
def test_the_serial_as_it_may_be_typed(typed: str) -> None:
    walk = at("inventory.serial")
    walk.say(typed)
    assert walk.asked() == "inventory.lead"
    assert walk.visit.units[0].state == "checked"


def test_a_serial_that_differs_is_read_once_more_and_then_is_a_mismatch() -> None:
    walk = at("inventory.serial")
    walk.press("different")
    assert walk.asked() == "inventory.serial_type"
    walk.say("HML-9ZZZZZ")
    assert walk.asked() == "inventory.serial_again"
    walk.say("HML-9ZZZZZ")
    assert walk.last == "wrong_unit"
    assert walk.causes() == ["mismatch"]
    assert walk.visit.open_calls[0].seen == "HML-9ZZZZZ"


def test_a_misread_serial_is_put_right() -> None:
    walk = at("inventory.serial")
    walk.say("HML-9ZZZZZ")
    walk.say(SERIAL)
    assert walk.asked() == "inventory.lead"


def test_after_a_mismatch_was_settled_the_label_is_read_again() -> None:
    walk = at("inventory.serial")
    walk.say("HML-9ZZZZZ")
    walk.say("HML-9ZZZZZ")
    walk.call_press("take")
    walk.call_press("close_fixed")
    assert walk.asked() == "inventory.serial"


def test_the_other_box_of_the_site_is_no_mismatch() -> None:
    walk = at("inventory.serial", units=(UNIT, SECOND_UNIT))
    walk.say(OTHER)
    assert walk.asked() == "inventory.serial_other"
    walk.say(SERIAL)
    assert walk.asked() == "inventory.lead"


def test_a_missing_part_is_the_admins() -> None:
    walk = at("inventory.lead")
    walk.press("lead_missing")
    assert walk.last == "missing_part"
    call = walk.visit.open_calls[0]
    assert (call.cause, call.first) == ("missing_part", "admin")
    assert walk.visit.question is None


# --- the line ------------------------------------------------------------------------------


def test_the_line_is_down_from_the_stage_with_the_flag_until_the_unit_is_online() -> None:
    walk = at("placing.place")
    assert not walk.visit.out_of_service
    walk.press("done")
    assert walk.visit.out_of_service
    walk.to("registry.light")
    walk.register()
    assert not walk.visit.out_of_service


def test_a_line_down_for_too_long_is_critical_and_holds_new_starts() -> None:
    walk = at("cabling.cable")
    down = walk.visit.link_down_at
    assert down is not None
    walk.until(down + 75 * MINUTE)
    assert "without_service" in walk.causes()
    assert "without_service" in walk.told
    assert walk.told.count("without_service") == 1


# --- lights --------------------------------------------------------------------------------


def test_the_loading_message_warns_against_switching_off() -> None:
    walk = at("loading.light")
    assert "do *not* switch it off" in walk.text("loading")


def test_a_light_as_it_should_be_is_waited_for() -> None:
    walk = at("loading.light")
    walk.say("white, blinking slowly")
    assert walk.last == "light_wait"
    assert walk.asked() == "loading.light"


def test_a_success_colour_too_early_is_asked_again() -> None:
    walk = at("loading.light")
    walk.advance(1)
    walk.press("light:registered")
    assert walk.last == "light_too_early"
    assert walk.asked() == "loading.light"


def test_a_success_colour_in_time_goes_on_to_the_registry() -> None:
    walk = at("loading.light")
    walk.advance(5)
    walk.press("light:registered")
    assert walk.asked() == "registry.light"
    assert walk.last == "registry_after_success"


def test_no_light_closes_the_last_stage_without_a_registration() -> None:
    walk = at("registry.light")
    for _ in range(4):
        walk.advance(3)
        walk.press("light:registered")
        assert walk.asked() == "registry.light"
    assert walk.last == "light_success_wait"
    walk.advance(10)
    assert walk.causes() == ["no_registration"]
    assert walk.last == "called_no_registration"


def test_a_cable_fault_cured_by_reseating() -> None:
    walk = at("registry.light")
    walk.say("yellow, blinking slowly")
    assert walk.last == "reseat"
    walk.press("done")
    assert walk.last == "light_after_check"
    question = walk.visit.question
    assert question is not None
    assert question.window == 10 * MINUTE  # common practice, no published source
    walk.register()
    assert walk.asked() == "wrap_up.tidy"
    assert walk.causes(open_only=False) == []


def test_after_a_cable_check_it_gets_its_time_before_anyone_is_called() -> None:
    walk = at("registry.light")
    walk.press("light:not_reached")
    walk.press("done")
    walk.advance(3)
    walk.press("light:not_reached")
    assert walk.last == "light_give_time"
    assert walk.causes() == []
    walk.advance(3)
    walk.press("light:not_reached")
    walk.advance(5)
    assert walk.causes() == ["dead_line"]
    assert walk.last == "called_dead_line"


def test_a_dead_line_is_on_calls_and_waits_on_a_third_party_until_a_stated_time() -> None:
    walk = at("registry.light")
    walk.press("light:not_reached")
    walk.press("done")
    walk.advance(9.9)
    walk.press("light:not_reached")
    walk.advance(2)
    assert walk.called == ONCALL.user
    walk.call_press("take")
    assert walk.order("third_party", ONCALL, ticket="VL-7781", minutes="240") == "ok"
    call = walk.visit.open_calls[0]
    assert (call.third_party, call.ticket, call.operator) == (True, "VL-7781", "shelved")
    assert call.due == walk.now + 240 * MINUTE
    assert "VL-7781" in walk.text("call_third_party")
    thread = f"esc:brook:{call.id}"
    walk.advance(239)
    assert [m.template for m in walk.messages if m.thread == thread][-1] == "call_third_party"
    walk.advance(2)
    assert [m.template for m in walk.messages if m.thread == thread][-1] == "call_again"


def test_the_cable_check_is_answered_by_the_light_itself() -> None:
    walk = at("registry.light")
    walk.press("light:not_reached")
    walk.say("white and blinking slowly")
    assert walk.asked() == "registry.light"
    walk.say("yellow blinking slowly")  # the check was done, it has its time now
    assert walk.last == "light_give_time"


def test_the_same_light_before_the_check_was_done_asks_for_the_check() -> None:
    walk = at("registry.light")
    walk.press("light:not_reached")
    walk.say("still yellow and blinking slowly")
    assert walk.asked() == "registry.reseat"
    assert walk.last == "reseat_nudge"


def test_a_fault_light_calls_at_once() -> None:
    walk = at("loading.light")
    walk.press("light:fault")
    assert walk.causes() == ["fault"]
    assert walk.last == "called_fault"
    assert walk.visit.question is None


def test_no_light_has_the_lead_checked_first() -> None:
    walk = at("loading.light")
    walk.press("light:dark")
    assert walk.last == "power_check"
    walk.press("done")
    walk.press("light:dark")
    assert walk.causes() == ["fault"]


def test_a_light_where_none_was_asked_for_settles_nothing() -> None:
    walk = at("cabling.cable")
    walk.say("it is steady green")
    assert walk.last == "ahead"
    assert walk.asked() == "cabling.cable"


def test_loading_for_too_long_though_the_contact_reports_is_a_fault() -> None:
    walk = at("loading.light")
    for _ in range(7):
        walk.advance(3)
        walk.press("light:loading")
    walk.advance(5)
    assert walk.causes() == ["fault"]


def test_silence_after_a_report_is_silence() -> None:
    walk = at("loading.light")
    walk.press("light:starting")
    walk.advance(30)
    assert walk.causes() == ["silent"]


# --- power ---------------------------------------------------------------------------------


def test_power_lost_while_loading_starts_the_times_again() -> None:
    walk = at("loading.light")
    walk.advance(8)
    walk.say("I turned it off and on again")
    assert walk.last == "loading_again"
    assert walk.asked() == "loading.light"
    assert walk.deadlines["window"] == walk.now + 22 * MINUTE
    walk.advance(2)
    walk.press("light:registered")
    assert walk.last == "light_too_early"  # the shortest time counts anew as well


def test_power_lost_at_the_registry_goes_back_to_loading() -> None:
    walk = at("registry.light")
    walk.say("I turned it off and on again")
    assert walk.asked() == "loading.light"


def test_a_second_time_goes_to_a_person() -> None:
    walk = at("loading.light")
    walk.say("I turned it off and on again")
    walk.advance(3)
    walk.say("I turned it off and on again")
    assert walk.last == "power_twice"
    assert walk.causes() == ["power_twice"]


def test_power_before_it_was_on_is_only_noted() -> None:
    walk = at("placing.place")
    walk.say("I turned it off and on again")
    assert walk.last == "power_noted"
    assert walk.asked() == "placing.place"


# --- registration --------------------------------------------------------------------------


def test_a_registration_with_no_word_from_the_contact_thanks_and_goes_on() -> None:
    walk = at("loading.light")
    walk.register()
    assert walk.said[-2:] == ["online_thanks", "tidy"]
    assert walk.asked() == "wrap_up.tidy"
    assert walk.visit.units[0].online


def test_a_registration_before_the_evening_counts_too() -> None:
    walk = Walk(plan()).agree()
    walk.register("hml-4f7k2q")
    assert walk.visit.state == "running"
    assert walk.asked() == "wrap_up.tidy"


def test_a_duplicate_changes_nothing() -> None:
    walk = at("registry.light")
    walk.register()
    before = walk.visit
    assert walk.register() == "repeat"
    assert walk.visit == before


def test_an_unknown_serial_is_not_ours() -> None:
    walk = at("registry.light")
    before = walk.visit
    assert walk.register("HML-000000") == "unknown"
    assert walk.visit == before


def test_online_and_lost_again_is_a_condition_of_its_own() -> None:
    walk = at("registry.light")
    walk.register()
    registered = walk.visit.units[0].registered_at
    walk.press("done")
    walk.advance(30)
    walk.register(kind="lost")
    unit = walk.visit.units[0]
    assert (unit.state, unit.online, unit.registered_at) == ("lost", False, registered)
    assert walk.causes() == ["lost"]
    walk.advance(5)
    walk.register()
    assert walk.visit.units[0].online
    assert walk.visit.units[0].registered_at == registered
    assert walk.visit.open_calls[0].cleared_at == walk.now


def test_a_registration_clears_what_waited_for_it() -> None:
    walk = at("registry.light")
    walk.press("light:registered")
    walk.advance(2)
    walk.press("light:registered")
    while not walk.causes():
        walk.advance(3)
        walk.press("light:registered")
    assert walk.causes() == ["no_registration"]
    walk.advance(3)
    walk.register()
    assert walk.visit.calls[0].cleared_at == walk.now
    assert walk.team[-1] == "call_cleared_registration"
    assert walk.asked() == "wrap_up.tidy"


@pytest.mark.parametrize("cause", ["mismatch", "help", "stop", "fault"])
def test_a_registration_clears_no_call_for_another_cause(cause: str) -> None:
    walk = at("inventory.serial")
    if cause == "mismatch":
        walk.say("HML-9ZZZZZ")
        walk.say("HML-9ZZZZZ")
    elif cause == "fault":
        walk.press("same")
        walk.to("loading.light")
        walk.press("light:fault")
    else:
        walk.say(cause)
    assert walk.causes() == [cause]
    walk.advance(3)
    said = list(walk.said)
    walk.register()
    call = walk.visit.open_calls[0]
    assert (call.cause, call.cleared_at) == (cause, None)
    assert walk.visit.units[0].online
    assert walk.said == said  # a person goes on from here
    assert walk.team[-1] == "call_unit_registered"
    walk.call_press("take")
    walk.call_press("close_fixed")
    assert walk.asked() == "wrap_up.tidy"


def test_who_never_says_goodbye_wakes_nobody() -> None:
    walk = at("registry.light")
    walk.register()
    walk.advance(61)
    assert walk.visit.state == "done"
    assert walk.visit.unsigned
    assert walk.causes(open_only=False) == []
    assert not walk.visit.live


# --- two units -----------------------------------------------------------------------------


def test_two_units_are_walked_one_after_the_other() -> None:
    walk = at("registry.light", units=(UNIT, SECOND_UNIT))
    walk.register(SERIAL)
    assert walk.asked() == "inventory.unpack"
    question = walk.visit.question
    assert question is not None
    assert question.unit == OTHER
    walk.to("registry.light")
    walk.register(OTHER)
    assert walk.asked() == "wrap_up.tidy"


def test_the_second_unit_first() -> None:
    walk = at("loading.light", units=(UNIT, SECOND_UNIT))
    walk.register(OTHER)
    assert walk.last == "online_other"
    assert walk.asked() == "loading.light"
    walk.register(SERIAL)
    assert walk.asked() == "wrap_up.tidy"


# --- words ---------------------------------------------------------------------------------


def test_what_is_not_understood_is_asked_back_and_then_goes_to_a_person() -> None:
    walk = at("placing.place")
    walk.say("purple monkey")
    assert walk.last == "not_clear"
    walk.say("purple monkey")
    assert walk.last == "ask_person"
    walk.say("purple monkey")
    assert walk.causes() == ["not_understood"]


def test_a_question_gets_the_one_thing_to_look_at() -> None:
    walk = at("inventory.serial")
    walk.say("where do I look?")
    assert walk.last == "serial_nudge"
    assert SERIAL in walk.text("serial_nudge")


def test_on_calls_words_are_not_the_contacts_answer() -> None:
    walk = at("placing.place")
    said = list(walk.said)
    assert walk.say("done", ONCALL) == "nothing"
    assert walk.asked() == "placing.place"
    assert walk.said == said


def test_a_stranger_cannot_answer() -> None:
    walk = at("placing.place")
    assert walk.press("done", STRANGER) == "not_yours"
    assert walk.say("done", STRANGER) == "not_yours"
    assert walk.last == "not_you"
    assert walk.asked() == "placing.place"


def test_a_button_of_an_earlier_question_is_stale() -> None:
    walk = at("placing.place")
    old = walk.button("done")
    walk.press("done")
    assert walk.press_action(old) == "stale"
    assert walk.asked() == "cabling.cable"


def test_an_answer_that_was_never_offered_is_none() -> None:
    walk = at("placing.place")
    question = walk.visit.question
    assert question is not None
    assert walk.press_action(f"a:{question.id}:light:fault") == "stale"
    assert walk.press_action(f"v:{question.id}:anything") == "stale"
    assert walk.asked() == "placing.place"


def test_the_contact_can_ask_for_a_person() -> None:
    walk = at("placing.place")
    walk.press("help")
    assert walk.last == "help_coming"
    assert walk.called == ONCALL.user  # at once, nothing is gathered
    walk.say("it is all very odd")
    assert walk.last == "person_has_it"
    assert walk.team[-1] == "call_contact_says"


def test_the_contact_can_say_that_the_site_must_stop() -> None:
    walk = at("placing.place")
    walk.say("we have to stop now")
    assert walk.last == "stop_noted"
    assert walk.causes() == ["stop"]
    assert walk.visit.question is None


@pytest.mark.parametrize("place", ["before", "after"])
def test_help_is_heard_before_and_after_the_evening(place: str) -> None:
    walk = Walk(plan()).agree()
    if place == "after":
        walk.to("registry.light")
        walk.register()
        walk.press("done")
        assert walk.visit.state == "done"
    walk.say("help")
    assert walk.last == "help_coming"
    assert walk.causes() == ["help"]


def test_each_message_asks_one_thing() -> None:
    walk = at("registry.light")
    walk.register()
    walk.press("done")
    buttons = [m for m in walk.messages if any(b.action.startswith("a:") for b in m.buttons)]
    asked = [m.buttons[0].action.split(":")[1] for m in buttons]
    assert len(asked) == len(set(asked))


# --- accounts ------------------------------------------------------------------------------


def test_an_account_disabled_midway_goes_to_a_person_where_there_is_no_deputy() -> None:
    walk = at("placing.place", deputy=None)
    walk.account(CONTACT.user, disabled=True)
    assert walk.causes() == ["unreachable"]
    walk.account(CONTACT.user, disabled=False)
    assert walk.causes() == []


def test_an_account_renamed_midway_is_noticed() -> None:
    walk = at("placing.place")
    assert walk.account(CONTACT.user, disabled=False) == "ok"
    assert type(walk.journal[-1][0]).__name__ == "AccountRenamed"
    assert walk.account("U0NOBODY", disabled=False) == "nothing"


def test_replaying_the_journal_gives_the_visit() -> None:
    walk = at("registry.light", units=(replace(UNIT, version=""), SECOND_UNIT))
    assert walk.replayed() == walk.visit
