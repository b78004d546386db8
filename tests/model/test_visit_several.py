"""Several things in one message, contacts ahead of us, and answers to steps that are past."""

import pytest
from msgspec.structs import replace

from tests.model.kit import SERIAL, UNIT, Walk, plan


def at(place: str, **kwargs: object) -> Walk:
    return Walk(plan(**kwargs)).to(place)  # type: ignore[arg-type]


def new_texts(walk: Walk, words: str) -> list[str]:
    before = len(walk.said)
    walk.say(words)
    return walk.said[before:]


def test_done_a_fault_and_a_question_are_all_taken_the_worst_decides() -> None:
    walk = at("power_on.power")
    assert new_texts(walk, "plugged in, light's red, and is there a spare?") == ["called_fault"]
    assert walk.causes() == ["fault"]
    assert walk.visit.open_calls[0].stage == "loading"  # the power was on: the light is the next
    assert walk.visit.units[0].state == "powered"
    walk.advance(2)  # whoever is called reads the words, the question among them
    card = next(m for m in walk.messages if m.template == "call")
    assert card.args["said"].startswith("@p:")


def test_an_answer_goes_before_what_is_asked_next() -> None:
    walk = at("power_on.power")
    assert new_texts(walk, "plugged in, and is there a spare?") == ["answer_spare", "loading"]
    assert walk.asked() == "loading.light"


def test_a_light_as_it_should_be_shortens_the_question_that_follows() -> None:
    walk = at("power_on.power")
    said = new_texts(walk, "plugged in, and it blinks slowly in white")
    assert said == ["loading_seen"]
    assert walk.asked() == "loading.light"
    assert walk.visit.question.asked_at == walk.now  # its delivery counts as always
    assert walk.visit.lights[-1][1] == "loading"


def test_two_steps_in_one_message() -> None:
    walk = at("power_on.power")
    assert new_texts(walk, "done, and it is green, blinking fast") == ["registry"]
    assert walk.asked() == "registry.light"


def test_done_and_more_time_for_what_follows() -> None:
    walk = at("placing.place")
    assert new_texts(walk, "done, give me 5 minutes") == ["cable", "later_ok"]
    assert walk.visit.question.nudge_at == walk.now + 5 * 60_000


def test_a_done_is_never_taken_twice() -> None:
    walk = at("cabling.cable")
    walk.say("done, done, all plugged in, done")
    assert walk.asked() == "power_on.power"


def test_who_wants_to_stop_is_heard_first() -> None:
    walk = at("loading.light")
    assert new_texts(walk, "we have to stop now, it is green") == ["stop_noted"]
    assert walk.causes() == ["stop"]


def test_the_same_light_as_before_is_the_one_that_was_seen() -> None:
    walk = at("registry.light")
    walk.say("yellow, blinking slowly")
    assert walk.asked() == "registry.reseat"
    walk.say("done, same as before")
    assert walk.asked() == "registry.light"
    assert walk.visit.lights[-1][1] == "not_reached"
    walk.advance(11)
    walk.say("still the same")
    assert walk.causes() == ["dead_line"]


def test_the_same_as_before_where_nothing_was_seen_is_asked() -> None:
    walk = at("loading.light")
    walk.say("same as before")
    assert walk.last in ("light_nudge", "ask_again")
    assert walk.asked() == "loading.light"


# --- ahead ---------------------------------------------------------------------------------

AHEAD = "it's all plugged in and the light is green already"


def test_a_contact_ahead_is_told_so_and_nobody_is_called() -> None:
    walk = at("inventory.serial")
    assert new_texts(walk, AHEAD) == ["ahead"]
    assert walk.text("ahead").endswith(f"does it say *{SERIAL}*?")
    assert walk.asked() == "inventory.serial"
    assert walk.causes() == []


def test_a_step_done_and_the_next_ones_too_is_one_message() -> None:
    walk = at("placing.place")
    assert new_texts(walk, AHEAD) == ["ahead"]
    assert walk.asked() == "cabling.cable"


def test_the_checks_are_asked_all_the_same_and_the_power_is_not_asked_for_again() -> None:
    walk = at("inventory.serial")
    seen = walk.now
    walk.say(AHEAD)
    asked = [walk.asked()]
    while walk.visit.question.kind != "light":
        walk.advance(1)
        walk.press({"serial": "same", "choice": "lead_one"}.get(walk.visit.question.kind, "done"))
        asked.append(walk.asked())
    assert asked == [
        "inventory.serial",
        "inventory.lead",
        "placing.place",
        "cabling.cable",
        "loading.light",
    ]
    assert walk.visit.powered_at == seen  # its times count from when it was seen
    assert walk.visit.units[0].state == "powered"


def test_a_unit_whose_version_nobody_has_read_is_checked_though_it_is_on() -> None:
    walk = Walk(plan((replace(UNIT, version=""),))).to("inventory.serial")
    walk.say(AHEAD)
    walk.press("same")
    assert walk.asked() == "inventory.version"
    walk.say("1.0.0")
    assert walk.causes() == ["mismatch"]
    assert walk.visit.units[0].state == "held"


@pytest.mark.parametrize("place", ["inventory.serial", "placing.place", "cabling.cable"])
def test_a_red_light_is_a_fault_however_early(place: str) -> None:
    walk = at(place)
    walk.say("it is plugged in and the light is red")
    assert walk.causes() == ["fault"]
    assert walk.last == "called_fault"


def test_a_light_that_is_well_needs_no_more_words_when_all_is_done() -> None:
    walk = at("registry.light")
    walk.register()
    assert new_texts(walk, "it's green!") == ["light_not_now"]
    assert walk.asked() == "wrap_up.tidy"


def test_the_same_good_light_again_is_answered_in_other_words() -> None:
    walk = at("loading.light")
    said = [new_texts(walk, "white, blinking slowly") for _ in range(3)]
    assert said == [["light_wait"], ["light_still"], ["light_wait"]]


@pytest.mark.parametrize("words", [SERIAL, "S/N HML-4F7K2Q", "4.2.0"])
def test_an_answer_to_a_step_that_is_past_is_thanked_for(words: str) -> None:
    walk = at("cabling.cable")
    assert new_texts(walk, words) == ["known_already"]
    assert walk.asked() == "cabling.cable"
    assert walk.visit.question.asked_back == 0


def test_done_at_a_question_that_wants_more_names_what_is_missing() -> None:
    walk = at("inventory.serial")
    assert new_texts(walk, "done") == ["still_need"]
    assert walk.asked() == "inventory.serial"
