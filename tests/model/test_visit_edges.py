"""Words before the day, and a contact whose account takes no messages: what the visit decides."""

import pytest

from bot.model.policy import MINUTE
from tests.model.kit import CONTACT, DEPUTY, Walk, plan


@pytest.mark.parametrize(
    "words",
    ["what do I need to bring tomorrow?", "is it still on for tomorrow?", "see you tomorrow"],
)
def test_a_question_about_tomorrow_calls_nothing_off(words: str) -> None:
    walk = Walk(plan()).agree()
    walk.say(words)
    assert walk.visit.state == "agreed"
    assert walk.last == "agreed_wait"


@pytest.mark.parametrize("words", ["can we do it another day?", "I can't tomorrow"])
def test_a_wish_for_another_day_is_heard_after_it_was_agreed(words: str) -> None:
    walk = Walk(plan()).agree()
    walk.say(words)
    assert walk.visit.state == "rebook"


def test_a_deputy_who_is_silent_too_means_a_call_for_a_contact_out_of_reach() -> None:
    walk = Walk(plan()).to("placing.place")
    walk.account(CONTACT.user, disabled=True)
    assert walk.causes() == []
    walk.advance(4)
    assert walk.causes() == []
    walk.advance(2)
    assert walk.causes() == ["unreachable"]


def test_a_deputy_out_of_reach_as_well_means_a_call_at_once() -> None:
    walk = Walk(plan()).to("placing.place")
    walk.account(CONTACT.user, disabled=True)
    walk.account(DEPUTY.user, disabled=True)
    assert walk.causes() == ["unreachable"]


def test_when_the_account_is_back_the_question_has_its_whole_time_again() -> None:
    walk = Walk(plan()).to("placing.place")
    walk.account(CONTACT.user, disabled=True)
    walk.advance(2)
    walk.account(CONTACT.user, disabled=False)
    question = walk.visit.question
    assert question is not None
    assert walk.deadlines["window"] == walk.now + question.window
    assert question.window > 6 * MINUTE
    assert walk.replayed() == walk.visit
