"""Danger that is asked about, hedged or denied: who is asked what, and what it dismisses."""

import pytest
from msgspec.structs import replace

from bot.model.fact import Actor
from tests.model.kit import ADMIN, CONTACT, DEPUTY, ONCALL, STRANGER, Walk, plan


def at_light() -> Walk:
    return Walk(plan()).to("loading.light")


@pytest.mark.parametrize("user", [CONTACT.user, DEPUTY.user, STRANGER])
@pytest.mark.parametrize(
    "words", ["any smoke?", "might be smoke", "I think I can smell something", "bit warm?"]
)
def test_doubt_from_a_site_stops_first_and_asks_one_yes_or_no(user: str, words: str) -> None:
    walk = at_light()
    assert walk.say(words, user) == "danger"
    assert walk.visit.stopped_at == walk.now
    assert walk.last == "danger_doubt"
    assert walk.causes() == ["danger"]
    walk.say(words, user)
    assert walk.said.count("danger_doubt") == 1


def test_what_is_plainly_said_is_not_asked_about() -> None:
    walk = at_light()
    walk.say("there is smoke")
    assert "danger_doubt" not in walk.said


@pytest.mark.parametrize("answer", ["danger_yes", "danger_no"])
def test_the_answer_after_a_stop_goes_to_the_people_and_dismisses_nothing(answer: str) -> None:
    walk = at_light()
    walk.say("might be smoke")
    assert walk.press(answer) == "ok"
    assert walk.team[-1] == "call_contact_says"
    assert walk.last == "stopped_wait"
    walk.say("no, all fine, no smoke")
    assert walk.team[-1] == "call_contact_says"
    assert walk.visit.stopped_at is not None
    assert walk.causes() == ["danger"]


def test_that_button_is_stale_once_a_person_has_restarted() -> None:
    walk = at_light()
    walk.say("might be smoke")
    walk.order("restart", ONCALL)
    said = list(walk.said)
    assert walk.press("danger_yes") == "stale"
    assert walk.said == said


@pytest.mark.parametrize("user", [CONTACT.user, DEPUTY.user, STRANGER])
def test_a_denial_that_nobody_asked_for_is_asked_about_once(user: str) -> None:
    walk = at_light()
    walk.say("no smoke here", user)
    assert walk.visit.stopped_at is None
    assert walk.causes() == []
    assert walk.last == "ask_danger"
    assert walk.visit.blocked
    assert set(walk.deadlines) == {"danger_ask", "link", "back_ask"}
    assert walk.press("danger_no") == "ok"
    assert walk.last == "loading"  # the open question once more
    assert walk.asked() == "loading.light"
    assert not walk.visit.blocked
    walk.say("no smoke here", user)
    assert walk.said.count("ask_danger") == 1


def test_it_is_asked_again_at_another_question() -> None:
    walk = Walk(plan()).to("inventory.unpack")
    walk.say("no smoke here")
    walk.press("danger_no")
    walk.press("done")
    walk.say("no smoke here")
    assert walk.said.count("ask_danger") == 2


@pytest.mark.parametrize(
    "words",
    ["yes", "yes there is", "yes a bit", "there is smoke", "maybe", "dont know", "no i think"],
)
def test_a_yes_to_it_stops(words: str) -> None:
    walk = at_light()
    walk.say("no smoke here")
    walk.say(words)
    assert walk.visit.stopped_at is not None
    assert walk.visit.danger_ask is None
    assert walk.causes() == ["danger"]


def test_a_yes_by_its_button_stops_and_says_what_to_do() -> None:
    walk = at_light()
    walk.say("no smoke here")
    walk.press("danger_yes")
    assert walk.visit.stopped_at is not None
    assert walk.last == "danger"


@pytest.mark.parametrize(
    "words", ["no", "nope", "no there isnt", "nothing", "no smoke", "all fine"]
)
def test_a_no_to_it_goes_on(words: str) -> None:
    walk = at_light()
    walk.say("no smoke here")
    walk.say(words)
    assert walk.visit.stopped_at is None
    assert walk.visit.danger_ask is None
    assert walk.last == "loading"


def test_a_no_to_it_is_no_answer_to_the_open_question() -> None:
    walk = Walk(plan()).to("begin.begin")
    walk.say("no smoke here")
    walk.say("no")
    assert walk.visit.state == "running"
    assert walk.asked() == "begin.begin"


def test_other_answers_are_asked_once_more_and_then_a_person_is_called() -> None:
    walk = at_light()
    walk.say("no smoke here")
    walk.say("light is green")
    assert walk.said.count("ask_danger") == 2
    walk.say("green!")
    assert walk.causes() == ["help"]
    assert walk.last == "help_coming"
    assert walk.visit.danger_ask is None


def test_a_button_of_the_open_question_waits_for_it() -> None:
    walk = at_light()
    question = walk.visit.question
    assert question is not None
    walk.say("no smoke here")
    walk.press_action(f"a:{question.id}:light:registered")
    assert walk.last == "ask_danger"
    assert walk.visit.danger_ask is not None


def test_without_an_answer_a_person_is_called() -> None:
    walk = at_light()
    walk.say("no smoke here")
    walk.advance(4)
    assert walk.causes() == []
    walk.advance(2)
    assert walk.causes() == ["help"]
    assert walk.visit.stopped_at is None


def test_a_registration_meanwhile_is_kept_and_the_visit_goes_on_after_the_answer() -> None:
    walk = at_light()
    walk.say("no smoke here")
    walk.register()
    assert walk.visit.units[0].online
    assert walk.visit.danger_ask is not None
    walk.say("no")
    assert walk.asked() == "wrap_up.tidy"


def test_before_the_evening_it_is_asked_too() -> None:
    walk = Walk(plan())
    walk.say("no smoke here")
    assert walk.last == "ask_danger"
    walk.say("no")
    assert walk.last == "kind_line"
    assert "begin" in walk.deadlines or "invite" in walk.deadlines


@pytest.mark.parametrize("by", [ONCALL, ADMIN])
def test_a_denial_right_after_the_team_asked_is_noted(by: Actor) -> None:
    walk = at_light()
    walk.say("any smoke?", by)
    said = list(walk.said)
    walk.say("no smoke here")
    assert walk.said == said
    assert walk.asked() == "loading.light"
    assert not walk.visit.blocked


def test_a_bare_no_to_the_team_is_no_answer_to_us_and_a_yes_stops() -> None:
    walk = Walk(plan()).to("begin.begin")
    walk.say("any smoke?", ONCALL)
    walk.say("no")
    assert walk.visit.state == "running"
    assert walk.asked() == "begin.begin"
    walk.say("is anyone hurt?", ONCALL)
    walk.say("yes")
    assert walk.visit.stopped_at is not None


def test_what_else_is_said_with_the_answer_to_the_team_counts() -> None:
    walk = at_light()
    walk.say("any smoke?", ONCALL)
    walk.say("no smoke, light is red")
    assert walk.causes() == ["fault"]


def test_the_question_of_the_team_does_not_stay_for_ever() -> None:
    walk = at_light()
    walk.say("any smoke?", ONCALL)
    walk.press("light:loading")
    walk.advance(9)
    walk.advance(2)
    walk.say("no smoke here")
    assert walk.last == "ask_danger"


@pytest.mark.parametrize("by", [ONCALL, ADMIN])
@pytest.mark.parametrize("words", ["no smoke then", "any smoke?"])
def test_the_team_may_ask_and_deny(by: Actor, words: str) -> None:
    walk = at_light()
    said = list(walk.said)
    walk.say(words, by)
    assert walk.said == said
    assert walk.visit.stopped_at is None
    assert walk.visit.danger_ask is None


@pytest.mark.parametrize("by", [ONCALL, ADMIN])
def test_the_team_may_not_be_unsure_of_it(by: Actor) -> None:
    walk = at_light()
    walk.say("I think there is smoke", by)
    assert walk.visit.stopped_at is not None


def test_when_a_person_has_it_a_denial_is_passed_on() -> None:
    walk = at_light()
    walk.press("light:fault")
    walk.advance(2)
    walk.say("no smoke here")
    assert walk.last == "person_has_it"
    assert walk.team[-1] == "call_contact_says"
    assert walk.visit.danger_ask is None


def test_a_contact_of_another_language_reads_it_in_their_own_too() -> None:
    walk = Walk(replace(plan(), contact=replace(CONTACT, lang="de"))).to("loading.light")
    walk.say("there is smoke")  # answered in English where it was written
    assert walk.last == "danger"


# --- whose yes it is, and in which language -----------------------------------------------


def test_a_yes_in_the_language_that_was_asked_for_stops() -> None:
    walk = Walk(plan()).to("cabling.cable")
    walk.say("please speak german")
    walk.say("kein rauch hier")
    assert (walk.last, walk.visit.lang) == ("ask_danger", "de")
    assert walk.say("ja") == "danger"
    assert walk.causes() == ["danger"]


def test_the_safety_answer_is_said_in_the_language_that_was_asked_for() -> None:
    walk = Walk(plan()).to("cabling.cable")
    walk.say("please speak german")
    walk.say("there is smoke", ONCALL)
    assert [m.lang for m in walk.messages if m.template == "danger"] == ["de"]


def test_a_denial_by_a_stranger_answers_nothing_for_the_site() -> None:
    walk = Walk(plan()).to("cabling.cable")
    walk.say("no smoke here")
    assert walk.say("no smoke", STRANGER) == "nothing"
    assert walk.visit.danger_ask is not None


def test_a_contact_who_is_of_the_team_too_says_yes() -> None:
    walk = Walk(plan()).to("cabling.cable")
    walk.say("no smoke here")
    assert walk.say("yes", Actor(CONTACT.user, admin=True)) == "danger"


def test_a_yes_pressed_after_a_person_was_called_still_stops() -> None:
    walk = Walk(plan()).to("cabling.cable")
    walk.say("no smoke here")
    button = walk.button("danger_yes")
    walk.advance(6)
    assert walk.causes() == ["help"]
    assert walk.press_action(button) == "danger"
    assert "danger" in walk.causes()
