"""A wrong cable pulled out, and a carton that has not come."""

import pytest

from tests.model.kit import Walk, plan


@pytest.mark.parametrize("place", ["cabling.cable", "power_on.power", "registry.light"])
@pytest.mark.parametrize(
    "words",
    [
        "oops I pulled the wrong cable",
        "I unplugged the wrong one",
        "I think I pulled out the wrong lead, what now?",
        "Ich habe das falsche Kabel gezogen",
    ],
)
def test_a_wrong_cable_pulled_goes_back_in_and_a_person_is_called(place: str, words: str) -> None:
    walk = Walk(plan()).to(place)
    walk.say(words)
    assert walk.last == "wrong_cable_out"
    assert walk.causes() == ["help"]
    assert walk.called
    walk.call_press("take")
    walk.call_press("close_fixed")
    assert walk.asked() == place  # no step was taken back


@pytest.mark.parametrize(
    "words", ["sorry, wrong button", "which cable do I pull?", "I put it in the wrong socket"]
)
def test_other_mistakes_are_no_wrong_cable(words: str) -> None:
    walk = Walk(plan()).to("cabling.cable")
    walk.say(words)
    assert "wrong_cable_out" not in walk.said


MISSING = [
    "no carton has arrived yet",
    "we have not got the box",
    "We haven't received the box yet",
    "the carton never came",
    "The box hasn't arrived, what shall I do?",
    "Das Paket ist noch nicht da",
]


@pytest.mark.parametrize("words", MISSING)
def test_before_the_evening_a_carton_that_has_not_come_is_the_admins(words: str) -> None:
    walk = Walk(plan()).agree()
    walk.say(words)
    assert walk.last == "not_arrived"
    assert walk.visit.state == "agreed"
    assert walk.causes() == ["missing_part"]
    walk.advance(2)
    assert walk.called == "U0ADMIN"
    walk.until(walk.visit.start + 60_000)
    assert "begin" not in walk.said  # nothing begins without it
    walk.call_press("take", "U0ADMIN")
    walk.call_press("close_fixed", "U0ADMIN")
    walk.advance(1)
    assert walk.asked() == "begin.begin"


def test_a_yes_with_no_carton_is_a_yes_and_the_admin_is_called() -> None:
    walk = Walk(plan())
    walk.until(walk.deadlines["invite"])
    walk.say("Yes, that is fine. But no carton has arrived yet.")
    assert walk.visit.state == "agreed"
    assert walk.said[-2:] == ["agreed", "not_arrived"]
    assert walk.causes() == ["missing_part"]


@pytest.mark.parametrize("words", ["the box is here", "what do I do with the box?", "ok, thanks"])
def test_other_words_of_the_box_call_nobody(words: str) -> None:
    walk = Walk(plan()).agree()
    walk.say(words)
    assert not walk.causes()
