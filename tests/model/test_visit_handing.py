"""The visit is passed on by a one-use code; who only says that they are somebody stays outside."""

import pytest
from msgspec.structs import replace

from bot.model.policy import MINUTE
from bot.model.visit.code import LETTERS, code_of, codes_in, mark_of
from bot.model.visit.state import Person
from tests.model.kit import (
    CONTACT,
    DEPUTY,
    ONCALL,
    STRANGER,
    Walk,
    context,
    plan,
)

KEY = b"a key of the tests alone"
SAM = STRANGER


def at(place: str = "placing.place", *, deputy: Person | None = DEPUTY) -> Walk:
    return Walk(plan(deputy=deputy), context=context(code_key=KEY)).to(place)


def offered(**kwargs: object) -> tuple[Walk, str]:
    walk = at(**kwargs)  # type: ignore[arg-type]
    walk.say("I'm off at 9, Sam will finish")
    return walk, code(walk)


def code(walk: Walk) -> str:
    return next(m.args["code"] for m in reversed(walk.messages) if m.template == "handing_code")


def alone(walk: Walk, user: str) -> list[str]:
    return [m.template for m in walk.messages if m.thread == f"user:{user}"]


def test_the_code_goes_to_the_contact_alone_and_stands_nowhere_else() -> None:
    walk, given = offered()
    assert alone(walk, CONTACT.user)[-1] == "handing_code"
    assert walk.last == "handing_given"
    assert given not in str(walk.journal)
    assert given not in str(walk.visit)
    assert not [
        m for m in walk.messages if given in str(m.args) and not m.thread.startswith("user:")
    ]


@pytest.mark.parametrize("place", ["thread", "channel", "direct"])
def test_shown_and_said_yes_to_it_makes_the_new_contact(place: str) -> None:
    walk, given = offered()
    walk.say(f"the code is {given.lower().replace('-', ' ')}", SAM, place=place)  # type: ignore[arg-type]
    assert alone(walk, SAM.user) == ["handing_ask"]
    assert walk.visit.contact == CONTACT  # shown, and nothing spent yet
    assert walk.press("take_on", SAM) == "ok"
    assert walk.visit.contact.user == SAM.user
    assert walk.visit.deputy == DEPUTY  # there is one already
    assert walk.said[-2:] == ["handing_welcome", "place"]
    assert "handing_done" in alone(walk, CONTACT.user)
    assert walk.press_action("h:h1:take_on", SAM) == "stale"
    walk.press("done", SAM)
    assert walk.asked() == "cabling.cable"


def test_without_a_deputy_the_old_contact_is_the_deputy() -> None:
    walk, given = offered(deputy=None)
    walk.say(given, SAM)
    walk.press("take_on", SAM)
    assert walk.visit.deputy == CONTACT
    assert walk.replayed() == walk.visit


def test_the_deputy_may_take_over_and_the_two_change_places() -> None:
    walk, given = offered()
    walk.say(given, DEPUTY.user)
    walk.press("take_on", DEPUTY.user)
    assert (walk.visit.contact.user, walk.visit.deputy) == (DEPUTY.user, CONTACT)


def test_who_only_claims_to_be_the_person_is_not_accepted() -> None:
    walk, _ = offered()
    assert walk.say("hi, I am Sam and I take over", SAM) == "not_yours"
    assert walk.last == "handing_not_you"
    assert walk.press_action("h:h1:take_on", SAM) == "not_yours"
    assert walk.visit.contact == CONTACT


def test_wrong_codes_end_the_code() -> None:
    walk, given = offered()
    for number in range(5):
        walk.say(f"CCC-{('993', '997', '994', '977', '973')[number]}", SAM)
    assert "handing_stopped" in alone(walk, CONTACT.user)
    walk.say(given, SAM)
    assert alone(walk, SAM.user)[-1] == "handing_wrong"
    assert walk.visit.contact == CONTACT


def test_its_time_is_over_when_it_is_over() -> None:
    walk, given = offered()
    offer = walk.visit.handing.offer
    walk.say(given, SAM)
    walk.now = offer.until
    assert walk.press_action(f"h:{offer.id}:take_on", SAM) == "stale"
    walk.say(given, SAM)
    assert alone(walk, SAM.user)[-1] == "handing_wrong"


def test_a_newer_code_ends_the_older_one() -> None:
    walk, first = offered()
    walk.say("Sam will finish")
    assert code(walk) != first
    walk.say(first, SAM)
    assert alone(walk, SAM.user)[-1] == "handing_wrong"


def test_the_giver_may_stay_and_cannot_use_it_themselves() -> None:
    walk, given = offered()
    walk.say(given)
    assert alone(walk, CONTACT.user)[-1] == "handing_own"
    walk.press_action("h:h1:keep_it")
    walk.say(given, SAM)
    assert walk.visit.contact == CONTACT
    assert alone(walk, SAM.user)[-1] == "handing_wrong"


def test_the_team_does_not_become_a_contact() -> None:
    walk, given = offered()
    walk.say(given, ONCALL)
    assert walk.visit.handing.offer.shown == ()


def test_nobody_in_time_is_told_to_on_call() -> None:
    walk, _ = offered()
    due = walk.visit.handing.due
    walk.until(due + 2 * MINUTE)
    assert "leaving" in walk.causes()
    assert "handing" not in walk.deadlines


def test_who_stays_and_goes_on_calls_nobody() -> None:
    walk = at()
    walk.say("I have to go")
    assert walk.last == "going_offer"
    walk.advance(1)
    walk.press("done")
    walk.press("done")
    walk.say("steady white")
    walk.until(walk.visit.handing.due)
    assert "leaving" not in walk.causes()


def test_what_is_said_beside_it_counts_too() -> None:
    walk = at()
    walk.say("done. I'm off at 9, Sam will finish")
    assert walk.asked() == "cabling.cable"
    assert walk.last == "handing_given"


def test_danger_comes_before_it() -> None:
    walk, given = offered()
    walk.say(f"there is smoke {given}", SAM)
    assert walk.visit.stopped_at is not None
    walk.say(given, SAM)
    assert walk.visit.contact == CONTACT


def test_a_new_list_leaves_who_took_over_unless_it_names_somebody_else() -> None:
    walk, given = offered(deputy=None)
    walk.say(given, SAM)
    walk.press("take_on", SAM)
    walk.plan(plan(deputy=None))
    assert walk.visit.contact.user == SAM.user


def test_without_the_section_all_is_as_before() -> None:
    book = context().book.model_copy(update={"leaving": None})
    walk = Walk(plan(), context=context(code_key=KEY, book=book)).to("placing.place")
    walk.say("I'm off at 9, Sam will finish")
    assert walk.visit.handing.offer is None


def test_without_a_key_a_person_is_called_instead() -> None:
    walk = Walk(plan()).to("placing.place")
    walk.say("I'm off at 9, Sam will finish")
    assert "leaving" in walk.causes()


def test_codes_are_of_their_key_and_their_visit() -> None:
    """HMAC-SHA-256 (RFC 2104); that codes look so is ours."""
    one = code_of(KEY, "w", "s", "h1", "f1")
    assert set(one) <= set(f"{LETTERS}-")
    assert any(letter.isdigit() for letter in one)
    others = [code_of(KEY, "w", "s", "h2", "f1"), code_of(KEY, "w", "t", "h1", "f1")]
    assert one not in [*others, code_of(b"another", "w", "s", "h1", "f1")]
    assert mark_of(KEY, one) != mark_of(b"another", one)
    many = {code_of(KEY, "w", "s", str(n)) for n in range(2000)}
    assert len(many) == 2000
    assert list(codes_in(f"it is {one}, please")) == [one]


@pytest.mark.parametrize(
    "words", ["HML-4F7K2Q", "S/N HML-MTHE79", "4.2.0", "why try", "07700 900101", "ok", "K4T-9XWQ"]
)
def test_numbers_of_labels_and_words_are_no_codes(words: str) -> None:
    assert list(codes_in(words)) == []


@pytest.mark.parametrize(
    ("lang", "go", "words", "said"),
    [
        ("en", "I have to go", "nope, just me", "going_nobody"),
        ("en", "I have to go", "No", "going_nobody"),
        ("en", "I have to go", "yes", "handing_given"),
        ("en", "I have to go at 9", "I'll stay", "going_stay"),
        ("de", "ich muss los", "Nö", "going_nobody"),
        ("de", "ich muss los", "ja, meine Kollegin", "handing_given"),
        ("de", "ich muss los", "meine Kollegin kann", "handing_given"),
        ("de", "ich muss los", "dann bleibe ich", "going_stay"),
    ],
)
def test_whether_somebody_takes_over_may_be_answered_in_words(
    lang: str, go: str, words: str, said: str
) -> None:
    made = replace(plan(), contact=replace(CONTACT, lang=lang))
    walk = Walk(made, context=context(code_key=KEY)).to("placing.place")
    walk.say(go)
    walk.say(words)
    assert walk.last == said
    assert walk.asked() == "placing.place"


def test_a_yes_after_another_answer_is_not_about_taking_over() -> None:
    walk = at()
    walk.say("I have to go")
    walk.advance(1)
    walk.press("done")
    walk.say("no")
    assert "going_nobody" not in walk.said
    assert walk.causes() == []
