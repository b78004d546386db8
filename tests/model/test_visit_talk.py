"""Questions back, refusals, kind lines, words that are not understood, other languages."""

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from bot.model.fact import Actor
from bot.model.lexicon import Lexicon
from bot.model.visit import event as e
from tests.model.kit import (
    CONTACT,
    DEPUTY,
    ONCALL,
    SECOND_UNIT,
    START,
    UNIT,
    Walk,
    context,
    plan,
    worded,
)


def at(place: str, **kwargs: object) -> Walk:
    return Walk(plan(**kwargs)).to(place)  # type: ignore[arg-type]


def new_texts(walk: Walk, words: str, user: Actor | str = CONTACT.user) -> list[str]:
    before = len(walk.said)
    walk.say(words, user)
    return walk.said[before:]


# --- questions back -------------------------------------------------------------------------

ASKED = [
    ("cabling.cable", "which cable?", "answer_cable"),
    ("cabling.cable", "where is the port?", "answer_port"),
    ("loading.light", "how long does it take?", "answer_how_long_here"),
    ("placing.place", "how long does it take?", "answer_how_long"),
    ("placing.place", "is there a spare?", "answer_spare"),
    ("placing.place", "who are you?", "answer_who"),
    ("power_on.power", "is this safe?", "answer_safe"),
    ("loading.light", "which light do you mean?", "answer_light"),
    ("inventory.serial", "where is the sticker?", "answer_label"),
    ("mobile_data.mobile", "why?", "answer_mobile_data"),
]


@pytest.mark.parametrize(("place", "words", "text"), ASKED)
def test_what_the_runbook_knows_is_told(place: str, words: str, text: str) -> None:
    walk = at(place)
    assert new_texts(walk, words) == [text]
    assert walk.asked() == place
    assert walk.causes() == []


def test_what_does_not_help_is_said_once_then_the_step_then_a_person() -> None:
    walk = at("cabling.cable")
    assert new_texts(walk, "which cable?") == ["answer_cable"]
    assert new_texts(walk, "which cable?") == ["cable_nudge"]
    assert new_texts(walk, "which cable?") == ["question_from_you"]
    assert walk.causes() == ["help"]


def test_a_question_that_is_not_about_the_step_offers_a_person() -> None:
    walk = at("cabling.cable")
    words = "do you think that the council will open on Sundays?"
    assert new_texts(walk, words) == ["question_unknown"]
    walk.press("help")
    assert walk.causes() == ["help"]


def test_before_the_evening_questions_are_answered_too() -> None:
    walk = Walk(plan()).agree()
    assert new_texts(walk, "how long does it take?") == ["answer_how_long"]


# --- refusals -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("place", "text", "state"),
    [
        ("invitation.consent", "rebook", "rebook"),
        ("begin.begin", "rebook", "rebook"),
        ("mobile_data.mobile", "callback_instead", "running"),
        ("inventory.unpack", "refused", "running"),
        ("inventory.serial", "serial_type", "running"),
        ("inventory.lead", "refused", "running"),
        ("placing.place", "refused", "running"),
        ("cabling.cable", "refused", "running"),
        ("power_on.power", "refused", "running"),
        ("loading.light", "ask_negated", "running"),
        ("mobile_data.callback", "callback_none", "running"),
    ],
)
def test_a_no_is_accepted_at_every_question(place: str, text: str, state: str) -> None:
    if place == "mobile_data.callback":
        walk = at("mobile_data.mobile")
        walk.press("no_signal")
    else:
        walk = at(place)
    said = new_texts(walk, "no")
    asked = [m for m in walk.messages if m.thread.startswith("site:")][-1]
    assert text in (said[-1], asked.template)
    assert walk.visit.state == state


def test_who_refuses_may_choose_another_day_or_a_person() -> None:
    walk = at("placing.place")
    walk.say("no")
    assert {b.action.split(":")[2] for b in walk.messages[-1].buttons} == {
        "more10",
        "help",
        "other_evening",
    }
    walk.press("other_evening")
    assert walk.visit.state == "rebook"


# --- kind lines, seen -----------------------------------------------------------------------


@pytest.mark.parametrize("words", ["ok", "👍", "okay", "right"])
def test_seen_is_never_done(words: str) -> None:
    walk = at("cabling.cable")
    walk.say(words)
    assert walk.asked() == "cabling.cable"
    assert not walk.visit.question.asked_back


def test_one_line_for_each_question_then_silence_and_the_nudge_comes_all_the_same() -> None:
    walk = at("cabling.cable")
    assert new_texts(walk, "ok") == ["seen_to_do"]
    assert new_texts(walk, "👍") == []
    assert new_texts(walk, "thanks") == ["welcome"]
    assert new_texts(walk, "thanks a lot") == []
    assert new_texts(walk, "hello") == []
    heard = [ev.kind for ev, _ in walk.journal if isinstance(ev, e.Heard)]
    assert heard[-5:] == ["seen", "seen", "thanks", "thanks", "small_talk"]
    walk.advance(8)
    assert walk.last == "cable_nudge"
    walk.press("done")
    assert new_texts(walk, "thanks") == ["welcome"]


# --- not understood -------------------------------------------------------------------------

UNCLEAR = st.sampled_from(
    ["purple monkey", "mmh", "blah blah blah", "the shelf is a bit wobbly", "", "?!", "x" * 50]
)
PLACES = [
    "invitation.consent",
    "begin.begin",
    "mobile_data.mobile",
    "inventory.unpack",
    "inventory.serial",
    "inventory.lead",
    "cabling.cable",
    "loading.light",
    "registry.light",
    "agreed",
    "rebook",
    "done",
    "stopped",
    "called",
    "planned",
]


def _somewhere(place: str) -> Walk:
    if place == "planned":
        return Walk(plan(), at=START - 9 * 24 * 60 * 60_000)
    if place == "agreed":
        return Walk(plan()).agree()
    if place in ("stopped", "called", "rebook", "done"):
        walk = at("registry.light")
        if place == "done":
            walk.register()
            walk.press("done")
        elif place == "rebook":
            walk.order("rebook")
        else:
            walk.say("smoke!" if place == "stopped" else "help")
        return walk
    return at(place)


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(PLACES), st.lists(st.tuples(UNCLEAR, st.booleans()), max_size=8))
def test_nothing_is_said_twice_running(place: str, spoken: list[tuple[str, bool]]) -> None:
    walk = _somewhere(place)
    for words, pause in spoken:
        walk.say(words)
        if pause:
            walk.advance(4)
    said = [worded(m) for m in walk.messages if m.thread.startswith("site:")]
    assert all(one != two for one, two in pairwise(said)), said


def test_asked_back_then_a_person_offered_then_called() -> None:
    walk = at("placing.place")
    assert new_texts(walk, "purple monkey") == ["not_clear"]
    assert new_texts(walk, "purple monkey") == ["ask_person"]
    assert "help" in [b.action.split(":")[2] for b in walk.messages[-1].buttons]
    assert new_texts(walk, "purple monkey") == ["help_coming"]
    assert walk.causes() == ["not_understood"]


def test_an_invitation_that_is_not_understood_names_the_word_for_a_person() -> None:
    walk = at("invitation.consent")
    assert new_texts(walk, "purple monkey") == ["ask_again"]
    assert new_texts(walk, "purple monkey") == ["write_help"]
    assert new_texts(walk, "purple monkey") == ["help_coming"]


def test_a_telephone_number_is_never_among_the_words_that_a_call_shows() -> None:
    walk = at("placing.place")
    walk.say("please call me on 01632 960123")
    assert walk.causes() == ["help"]
    card = next(m for m in walk.messages if m.template == "call")
    assert card.args["said"] == "@x:nothing"
    assert walk.visit.said == ()


# --- languages ------------------------------------------------------------------------------


def two_languages() -> Walk:
    """Two languages with the same words: what counts here is which is spoken to whom."""
    english = context().lexicons["en"]
    own = {"language": "de", "own_language": {"within": ["in german please"]}}
    german = Lexicon.model_validate(english.model_dump() | own)
    both = {"en": english, "de": german}
    return Walk(plan(), context=context(lexicons=both)).to("placing.place")


def lang_of_last(walk: Walk) -> str:
    return [m for m in walk.messages if m.thread.startswith("site:")][-1].lang


def test_a_language_changes_by_a_word_and_the_question_is_put_again() -> None:
    walk = two_languages()
    assert new_texts(walk, "in German please") == ["place"]
    assert lang_of_last(walk) == "de"
    assert walk.visit.question.text == "place"
    walk.press("done")
    assert lang_of_last(walk) == "de"


def test_each_person_has_a_language_of_their_own() -> None:
    walk = two_languages()
    walk.say("hello", DEPUTY.user)
    walk.say("in German please", DEPUTY.user)
    assert lang_of_last(walk) == "de"
    walk.say("which cable?")
    assert lang_of_last(walk) == "en"
    walk.say("thanks", DEPUTY.user)
    assert lang_of_last(walk) == "de"


def test_a_new_site_list_does_not_forget_it() -> None:
    walk = two_languages()
    walk.say("in German please")
    walk.plan(replace(plan(), contact=replace(CONTACT, lang="en")))
    walk.press("done")
    assert lang_of_last(walk) == "de"


# --- before and after -----------------------------------------------------------------------


def test_the_day_before_the_line_names_day_and_time() -> None:
    walk = Walk(plan()).agree()
    walk.say("mumble mumble")
    assert "Tuesday 20 October at 19:00" in walk.text("agreed_wait")


@pytest.mark.parametrize(
    "words",
    ["the light is red", "light is off", "the internet is not working", "something is wrong"],
)
def test_the_week_after_what_is_wrong_goes_to_a_person(words: str) -> None:
    walk = _somewhere("done")
    walk.advance(7 * 24 * 60)
    assert new_texts(walk, words) in (["after_wrong"], ["help_coming"])
    assert walk.causes() == ["help"]


def test_the_week_after_thanks_are_a_kind_line() -> None:
    walk = _somewhere("done")
    assert new_texts(walk, "thank you so much") == ["welcome"]
    assert walk.causes() == []


# --- several units --------------------------------------------------------------------------


def test_of_two_units_each_has_a_name() -> None:
    walk = Walk(plan((UNIT, SECOND_UNIT))).to("inventory.unpack")
    assert "the first new box" in walk.text("unpack")
    assert "the new boxes" in walk.text("invite")
    walk.register()
    assert "the second new box" in walk.text("unpack")


def test_a_call_that_is_put_off_tells_the_contact_by_when() -> None:
    walk = at("placing.place")
    walk.press("help")
    walk.call_press("take", ONCALL)
    walk.call_press("later", ONCALL)
    assert walk.last == "person_later"
