"""A person of the team has the conversation; who joins late; what is on record of it."""

from msgspec.structs import replace

from bot.model.policy import MINUTE
from bot.model.visit import event as e
from bot.report.words import visit_lines
from bot.speak.catalogue import standard
from bot.speak.timewords import time_of_day
from tests.model.kit import (
    ADMIN,
    CONTACT,
    DEPUTY,
    ONCALL,
    ROSTER,
    SECOND,
    STRANGER,
    Walk,
    book,
    plan,
)

LIMIT = 45


def at(place: str) -> Walk:
    return Walk(plan()).to(place)


def taken_over(place: str = "loading.light") -> Walk:
    walk = at(place)
    walk.order("take_over", ONCALL)
    return walk


def private(walk: Walk, user: str) -> list[str]:
    return [m.template for m in walk.messages if m.thread == f"user:{user}"]


def test_the_contact_is_told_who_and_then_the_bot_keeps_still() -> None:
    walk = taken_over()
    assert walk.last == "person_coming"
    before = list(walk.said)
    for words in ("done", "it is green", "hello?", "thanks", "which cable?"):
        walk.say(words)
    walk.say("please press it in again", ONCALL)
    walk.advance(40)
    assert walk.said == before
    assert walk.causes() == []


def test_handed_back_it_goes_on_with_one_line_and_the_open_question() -> None:
    walk = taken_over("cabling.cable")
    walk.advance(5)
    walk.order("hand_back", ONCALL)
    assert walk.said[-2:] == ["handed_back", "cable"]
    assert walk.asked() == "cabling.cable"


def test_a_registration_meanwhile_is_noted_and_told_and_then_counts() -> None:
    walk = taken_over("registry.light")
    before = list(walk.said)
    walk.register()
    assert walk.visit.units[0].online
    assert walk.said == before
    assert private(walk, ONCALL.user)[-1] == "helper_registered"
    walk.order("hand_back", SECOND)
    assert walk.said[-3:] == ["handed_back", "online_thanks", "tidy"]


def test_danger_counts_all_the_same() -> None:
    walk = taken_over()
    assert walk.say("there is smoke") == "danger"
    assert walk.visit.stopped_at is not None
    assert "danger" in walk.causes()


def test_who_asks_for_a_person_reaches_the_one_who_has_it() -> None:
    walk = taken_over()
    walk.say("help")
    assert private(walk, ONCALL.user)[-1] == "helper_wanted"
    assert walk.causes() == []


def test_the_time_of_the_line_goes_on() -> None:
    walk = taken_over("loading.light")
    walk.advance(80)
    assert "without_service" in walk.causes()


def test_who_forgets_it_is_reminded_and_then_on_call_is_called() -> None:
    walk = Walk(plan()).to("placing.place")
    walk.order("take_over", ONCALL)
    walk.advance(LIMIT)
    assert private(walk, ONCALL.user) == ["helper_reminder"]
    assert walk.causes() == []
    walk.advance(LIMIT)
    assert walk.causes() == ["help"]


def test_handed_back_after_all_the_call_for_it_is_over() -> None:
    walk = Walk(plan()).to("placing.place")
    walk.order("take_over", ONCALL)
    walk.advance(2 * LIMIT + 1)
    walk.order("hand_back", ONCALL)
    assert [c.cause for c in walk.visit.calls if c.open and c.cleared_at is None] == []
    assert walk.said[-2:] == ["handed_back", "place"]


def test_who_closes_that_call_gives_it_back_too() -> None:
    walk = Walk(plan()).to("placing.place")
    walk.order("take_over", ONCALL)
    walk.advance(2 * LIMIT + 1)
    walk.call_press("take", SECOND)
    walk.call_press("close_fixed", SECOND)
    assert not walk.visit.helper
    assert walk.asked() == "placing.place"


def test_only_the_team_takes_over() -> None:
    walk = at("placing.place")
    for actor in (STRANGER, replace(STRANGER, user=CONTACT.user)):
        assert walk.order("take_over", actor) == "not_yours"
        assert walk.order("hand_back", actor) == "not_yours"
    assert not walk.visit.helper


def test_taking_over_where_a_call_waits_takes_the_call() -> None:
    walk = at("placing.place")
    walk.press("help")
    walk.order("take_over", ONCALL)
    assert walk.visit.open_calls[0].taken_by == ONCALL.user
    before = list(walk.said)
    walk.say("hello?")
    assert walk.said == before
    walk.call_press("close_fixed", ONCALL)
    assert walk.said[-2:] == ["going_on", "place"]


def test_a_call_nobody_has_taken_still_answers() -> None:
    walk = at("placing.place")
    walk.press("help")
    walk.say("hello?")
    assert walk.last == "person_has_it"


def test_what_they_did_is_on_record() -> None:
    walk = taken_over("placing.place")
    since = walk.now
    walk.say("I have pressed it in with them", ONCALL)
    walk.advance(10)
    walk.order("hand_back", ADMIN)
    helped = walk.visit.helped[-1]
    assert (helped.by, helped.since, helped.until) == (ONCALL.user, since, since + 10 * MINUTE)
    heard = [ev for ev, _ in walk.journal if isinstance(ev, e.Heard)][-1]
    assert (heard.user, heard.role) == (ONCALL.user, "oncall")
    assert heard.text
    assert walk.replayed() == walk.state
    texts = standard().best("en")
    assert visit_lines(walk.visit, walk.now, texts, book(), ROSTER)[-1].endswith(
        f"Ida Fenn had the conversation from {time_of_day(str(since), walk.visit.site.tz)} to "
        f"{time_of_day(str(walk.now), walk.visit.site.tz)}"
    )
    walk.order("take_over", ONCALL)
    assert (
        "Ida Fenn has the conversation"
        in visit_lines(walk.visit, walk.now, texts, book(), ROSTER)[-1]
    )


def test_the_evening_waits_for_who_took_over_before_it() -> None:
    walk = Walk(plan()).agree()
    walk.order("take_over", ONCALL)
    walk.until(walk.visit.start + 10 * MINUTE)
    assert walk.visit.state == "agreed"
    walk.order("hand_back", ONCALL)
    assert walk.asked() == "begin.begin"


# --- who joins late ------------------------------------------------------------------------


def test_a_deputys_first_words_get_three_lines() -> None:
    walk = at("cabling.cable")
    walk.say("hello", DEPUTY.user)
    assert walk.last == "where_we_are"
    lines = walk.text("where_we_are").splitlines()
    assert len(lines) == 3
    assert "5 of 10" in lines[1]
    walk.say("hello again", DEPUTY.user)
    assert walk.said.count("where_we_are") == 1


def test_a_deputys_first_press_gets_them_before_what_comes_next() -> None:
    walk = at("cabling.cable")
    walk.press("done", DEPUTY.user)
    assert walk.said[-2:] == ["where_we_are", "power"]


def test_a_deputy_who_is_asked_to_step_in_gets_them_alone() -> None:
    walk = at("placing.place")
    walk.advance(21)
    assert private(walk, DEPUTY.user) == ["deputy_ask", "where_we_are"]


def test_anyone_may_ask_where_we_are() -> None:
    walk = at("cabling.cable")
    walk.say("where are we?")
    assert walk.last == "where_we_are"
    before = list(walk.said)
    walk.say("what's going on?", ONCALL)
    walk.order("catch_up", SECOND)
    assert walk.said == before
    assert private(walk, ONCALL.user) == ["where_for_team"]
    assert private(walk, SECOND.user) == ["where_for_team"]
