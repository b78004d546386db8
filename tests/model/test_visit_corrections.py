"""Answers taken back, and two people of one site who answer at once."""

from hypothesis import given, settings
from hypothesis import strategies as st

from bot.model.visit import event as e
from tests.model.kit import DEPUTY, SERIAL, Walk, plan

D = DEPUTY.user


def at(place: str, **kwargs: object) -> Walk:
    return Walk(plan(**kwargs)).to(place)  # type: ignore[arg-type]


def test_a_done_is_taken_back_and_the_question_put_again() -> None:
    walk = at("power_on.power")
    walk.press("done")
    assert walk.visit.units[0].state == "powered"
    walk.advance(1)
    walk.say("no wait, not plugged in yet")
    assert walk.asked() == "power_on.power"
    assert walk.visit.units[0].state == "checked"
    assert walk.visit.powered_at is None
    assert any(isinstance(ev, e.TakenBack) for ev, _ in walk.journal)
    walk.press("done")
    assert walk.asked() == "loading.light"
    assert walk.visit.powered_at == walk.now


def test_back_over_the_change_of_the_line() -> None:
    walk = at("placing.place")
    walk.press("done")
    assert walk.visit.out_of_service
    walk.say("no wait, not done yet")
    assert walk.asked() == "placing.place"
    assert not walk.visit.out_of_service


def test_another_light_after_a_correction_is_acted_on() -> None:
    walk = at("loading.light")
    walk.say("green, blinking fast")
    walk.say("no wait, that was the other light, it's red")
    assert walk.causes() == ["fault"]


def test_a_serial_that_was_right_after_all() -> None:
    walk = at("inventory.serial")
    walk.say("HML-9ZZZZZ")
    walk.say(f"no wait, it's {SERIAL}")
    assert walk.asked() == "inventory.lead"


def test_a_serial_that_was_wrong_after_all() -> None:
    walk = at("inventory.serial")
    walk.press("same")
    walk.say("no wait, it says HML-9ZZZZZ")
    assert walk.asked() == "inventory.serial_again"
    assert walk.visit.units[0].state == "waiting"


def test_an_answer_is_taken_back_once() -> None:
    walk = at("placing.place")
    walk.press("done")
    walk.say("no wait, not done yet")
    walk.say("no wait, not done yet")
    assert walk.asked() == "placing.place"


def test_what_a_unit_proved_is_never_taken_back() -> None:
    walk = at("registry.light")
    walk.register()
    walk.say("no wait, not done yet")
    assert walk.last == "stays_so"
    assert walk.visit.units[0].online
    assert walk.asked() == "wrap_up.tidy"


def test_a_yes_to_the_evening_may_become_a_no() -> None:
    walk = at("invitation.consent")
    walk.press("yes")
    walk.say("oh no sorry, I can't do that day")
    assert walk.visit.state == "rebook"
    assert walk.last == "rebook"


def test_a_no_to_the_evening_may_become_a_yes() -> None:
    walk = at("invitation.consent")
    walk.press("no")
    walk.advance(10)
    walk.say("no wait, yes")
    walk.say("yes")
    assert walk.visit.state == "agreed"
    assert [c.cause for c in walk.visit.open_calls if c.cleared_at is None] == []


# --- two people ----------------------------------------------------------------------------


def test_the_second_who_says_the_same_is_silent() -> None:
    walk = at("cabling.cable")
    walk.say("done")
    before = list(walk.said)
    assert walk.say("done", D) == "nothing"
    assert walk.said == before
    assert walk.asked() == "power_on.power"


def test_after_a_minute_a_done_is_of_the_next_step() -> None:
    walk = at("cabling.cable")
    walk.say("done")
    walk.advance(2)
    walk.say("done", D)
    assert walk.asked() == "loading.light"


def test_two_answers_are_asked_back_once_and_nobody_is_named() -> None:
    walk = at("cabling.cable")
    walk.say("done")
    walk.say("no, not yet", D)
    assert walk.asked() == "cabling.cable"
    assert walk.last == "two_answers"
    text = walk.text("two_answers")
    assert "Mary" not in text
    walk.say("done")
    walk.say("no, not yet", D)
    assert walk.asked() == "power_on.power"  # the first answer counts from now on
    assert walk.said.count("two_answers") == 1


def test_two_buttons_of_one_question() -> None:
    walk = at("inventory.lead")
    one, none = walk.button("lead_one"), walk.button("lead_missing")
    walk.press_action(one)
    walk.press_action(one, D)
    assert walk.asked() == "placing.place"
    walk.press_action(none, D)
    assert walk.asked() == "inventory.lead"
    assert walk.last == "two_answers"


def test_a_worse_light_of_the_other_is_never_lost() -> None:
    walk = at("loading.light")
    walk.say("white, blinking slowly")
    walk.say("it is red", D)
    assert walk.causes() == ["fault"]


WORDS = st.sampled_from(
    ["done", "not yet", "no wait, not done yet", "yes", "red light", "HML-9ZZZZZ", "two pieces"]
)
WHO = st.sampled_from(["U0CONTACT", D])


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(WHO, WORDS, st.sampled_from([0, 0.5, 2])), max_size=8))
def test_corrections_replay_like_everything_else(spoken: list[tuple[str, str, float]]) -> None:
    walk = at("inventory.serial")
    for user, words, minutes in spoken:
        walk.say(words, user)
        walk.advance(minutes)
    assert walk.replayed() == walk.state
    assert walk.visit.blocked or walk.visit.question is not None or walk.visit.state != "running"
