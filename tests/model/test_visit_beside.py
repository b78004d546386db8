"""Short words that answer nothing: sent twice, meant for the team, or under a picture."""

import pytest

from bot.model.fact import Media, Said
from bot.model.visit import event as e
from tests.model.kit import CONTACT, DEPUTY, ONCALL, SERIAL, Walk, _actor, plan

SECOND = 1 / 60


def at(place: str) -> Walk:
    return Walk(plan()).to(place)


def with_media(walk: Walk, words: str, media: Media = "picture") -> str:
    base = walk._base()
    return walk.bring(Said(actor=_actor(CONTACT.user), words=words, media=media, **base))


# --- the same answer twice ---------------------------------------------------------------


def test_done_sent_twice_passes_one_step() -> None:
    walk = at("cabling.cable")
    walk.say("done")
    walk.advance(4 * SECOND)
    before = list(walk.said)
    assert walk.say("Done!") == "nothing"
    assert walk.asked() == "power_on.power"
    assert walk.said == before
    assert [ev.how for ev, _ in walk.journal if isinstance(ev, e.Heard)][-1] == "repeated"


def test_a_third_time_at_once_asks_to_look_at_the_question() -> None:
    walk = at("cabling.cable")
    for _ in range(3):
        walk.say("done")
    assert walk.asked() == "power_on.power"
    assert walk.last == "crossed"


def test_a_yes_sent_twice_at_the_start_turns_no_wifi_off() -> None:
    walk = Walk(plan()).agree()
    walk.until(walk.visit.start)
    walk.say("yes")
    asked = walk.asked()
    walk.advance(3 * SECOND)
    walk.say("yes")
    assert walk.asked() == asked


@pytest.mark.parametrize(("wait", "words"), [(11, "done"), (4, "power is in, all done")])
def test_later_or_with_the_thing_named_it_is_the_next_answer(wait: int, words: str) -> None:
    walk = at("cabling.cable")
    walk.say("done")
    walk.advance(wait * SECOND)
    walk.say(words)
    assert walk.asked() == "loading.light"


def test_the_button_counts_at_once() -> None:
    walk = at("cabling.cable")
    walk.say("done")
    walk.press("done")
    assert walk.asked() == "loading.light"


# --- what the team has asked ---------------------------------------------------------------


@pytest.mark.parametrize("asks", ["are you ok?", "is it plugged in"])
@pytest.mark.parametrize("words", ["yes", "no", "ok", "yes thanks", "here"])
@pytest.mark.parametrize("place", ["inventory.serial", "cabling.cable"])
def test_a_short_answer_to_the_team_is_theirs(asks: str, words: str, place: str) -> None:
    walk = at(place)
    walk.say(asks, ONCALL)
    walk.advance(1)
    before, question = list(walk.said), walk.visit.question
    assert walk.say(words) == "nothing"
    assert walk.said == before
    assert walk.visit.question == question
    assert "nudge" in walk.deadlines


def test_only_the_next_message_is_theirs() -> None:
    walk = at("inventory.serial")
    walk.say("are you ok?", ONCALL)
    walk.say("yes")
    walk.say("yes")
    assert walk.asked() == "inventory.lead"


def test_after_five_minutes_it_is_ours_again() -> None:
    walk = at("inventory.serial")
    walk.say("are you ok?", ONCALL)
    walk.advance(6)
    walk.say("yes")
    assert walk.asked() == "inventory.lead"


def test_what_the_team_tells_asks_nothing() -> None:
    walk = at("inventory.serial")
    walk.say("I am here tonight", ONCALL)
    walk.say("yes")
    assert walk.asked() == "inventory.lead"


def test_a_done_or_a_serial_is_still_ours() -> None:
    walk = at("inventory.serial")
    walk.say("which one is it?", ONCALL)
    walk.say(SERIAL)
    assert walk.asked() == "inventory.lead"
    walk = at("cabling.cable")
    walk.say("is it plugged in?", ONCALL)
    walk.say("yes, done")
    assert walk.asked() == "power_on.power"


def test_a_call_for_help_is_heard_all_the_same() -> None:
    walk = at("cabling.cable")
    walk.say("are you ok?", ONCALL)
    walk.say("no, I need help")
    assert walk.causes() == ["help"]


def test_either_of_the_site_may_answer_the_team() -> None:
    walk = at("inventory.serial")
    walk.say("anybody there?", ONCALL)
    assert walk.say("yes", DEPUTY.user) == "nothing"
    assert walk.asked() == "inventory.serial"


# --- a picture with a word -------------------------------------------------------------------


@pytest.mark.parametrize("words", ["here", "this", "this one", "look", "yes", "ok", "there you go"])
def test_a_picture_and_a_word_prove_no_label(words: str) -> None:
    walk = at("inventory.serial")
    with_media(walk, words)
    assert walk.asked() == "inventory.serial"
    assert walk.last == "unread_picture"
    with_media(walk, words, "file")
    assert walk.last == "unread_person"


def test_a_picture_beside_the_label_in_words_is_no_matter() -> None:
    walk = at("inventory.serial")
    with_media(walk, SERIAL)
    assert walk.asked() == "inventory.lead"


def test_a_picture_beside_done_is_no_matter_where_something_is_to_be_done() -> None:
    walk = at("cabling.cable")
    with_media(walk, "done")
    assert walk.asked() == "power_on.power"
