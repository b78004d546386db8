"""Calls: the ladder, taking, handing on, putting off, clearing and closing.

Severities and operator states are those of RFC 8632 (A YANG Data Model for Alarm Management),
sections 3.5.1 and 3.5.2 and the ``operator-state`` type of its module, from memory: ``none``,
``ack``, ``closed``, ``shelved``; the resource clears, the operator closes.
"""

import pytest
from msgspec.structs import replace

from bot.model.policy import MINUTE
from bot.model.roster import Roster
from bot.speak.catalogue import standard
from tests.model.kit import (
    ADMIN,
    CONTACT,
    ONCALL,
    ROSTER,
    SECOND,
    STRANGER,
    Walk,
    context,
    plan,
)


def called(cause: str = "silent") -> Walk:
    """A site with a call made out to the first on call."""
    walk = Walk(plan(deputy=None))
    if cause == "fault":
        walk.to("loading.light")
        walk.press("light:fault")
        walk.advance(2)
    elif cause == "danger":
        walk.to("loading.light")
        walk.say("smoke!")
    elif cause == "dead_line":
        walk.to("registry.light")
        walk.press("light:not_reached")
        walk.press("done")
        walk.advance(10)
        walk.press("light:not_reached")
        walk.advance(2)
    else:
        walk.to("placing.place")
        walk.advance(22)
    assert walk.causes() == [cause]
    assert walk.called.startswith(ONCALL.user)
    return walk


def test_a_call_waits_a_little_for_others_of_the_same_cause() -> None:
    walk = Walk(plan(deputy=None)).to("loading.light")
    walk.press("light:fault")
    assert walk.team == []
    walk.advance(1)
    assert walk.team == []
    walk.advance(1)
    assert walk.team == ["call"]


@pytest.mark.parametrize("words", ["smoke!", "help", "we have to stop now"])
def test_danger_and_a_person_asking_wait_for_nothing(words: str) -> None:
    walk = Walk(plan()).to("loading.light")
    walk.say(words)
    assert walk.team == ["call"]


def test_a_call_goes_to_chat_and_by_mail_to_who_has_an_address() -> None:
    walk = called()
    mails = [m.thread for m in walk.messages if m.way == "mail"]
    assert mails == ["mail:ida@example.org"]
    walk.advance(15)  # the second has none
    assert walk.called == SECOND.user
    assert len([m for m in walk.messages if m.way == "mail"]) == 1


def test_a_call_holds_what_is_needed_to_act_from_a_locked_phone() -> None:
    walk = called("dead_line")
    text = walk.text("call")
    for part in (
        "Major",
        "the line seems dead",
        "Brook Library",
        "1 Brook Lane",
        "local time there 19:",
        "HG-10 HML-4F7K2Q",
        "reaching the registry",
        "Yellow, blinking slowly",
        "what the light shows",
        "cable pressed in at both ends",
        "none yet",
        "HL-0042",
        "Vale Lines",
        "01632 960199",
        "call the carrier's fault line",
        "https://example.org",
    ):
        assert part in text


def test_names_and_numbers_go_only_in_private() -> None:
    walk = called()
    walk.call_press("take")
    for message in walk.messages:
        if message.thread.startswith("esc:"):
            shown = standard().texts("en").placeholders(message.template)
            assert not shown & {"contact", "mobile", "deputy", "phone", "callback"}
    private = next(m for m in walk.messages if m.template == "call_private")
    assert private.thread == f"user:{ONCALL.user}"
    assert "01632 960100" in walk.text("call_private")


def test_one_button_to_take_it_and_the_others_for_whoever_took_it() -> None:
    walk = called()
    verbs = [b.action.split(":")[2] for b in walk.messages[-1].buttons] or [
        b.action.split(":")[2] for m in walk.messages if m.template == "call" for b in m.buttons
    ]
    assert verbs == ["take"]
    assert walk.call_press("close_fixed") == "not_taker"
    walk.call_press("take")
    taken = next(m for m in walk.messages if m.template == "call_taken")
    assert [b.action.split(":")[2] for b in taken.buttons] == ["close", "hand", "later"]


def test_the_contact_is_told_who_comes() -> None:
    walk = called("fault")
    walk.call_press("take")
    assert walk.last == "person_coming"
    assert "Ida Fenn" in walk.text("person_coming")


@pytest.mark.parametrize("verb", ["take", "close", "close_fixed", "hand", "later", "third"])
@pytest.mark.parametrize("user", [STRANGER.user, CONTACT.user])
def test_only_the_team_acts_on_a_call(verb: str, user: str) -> None:
    walk = called()
    before = walk.visit.calls
    assert walk.call_press(verb, user) == "not_yours"
    assert walk.visit.calls == before


def test_not_taken_it_climbs_and_after_the_last_rung_it_repeats() -> None:
    walk = called()
    people = []
    for _ in range(5):
        people.append(walk.called)
        walk.advance(15)
    assert people == [ONCALL.user, SECOND.user, ADMIN.user, ONCALL.user, SECOND.user]


def test_nobody_answering_holds_new_starts_and_tells_the_contact() -> None:
    walk = called()
    walk.advance(15 * 3)
    assert walk.told.count("unanswered") == 1
    assert walk.last == "nobody_yet"
    assert "go home" in walk.text("nobody_yet")
    walk.advance(15 * 6)  # said once
    assert walk.told.count("unanswered") == 1
    assert walk.said.count("nobody_yet") == 1


def test_the_wait_depends_on_the_severity() -> None:
    minor, critical = called(), called("danger")
    assert minor.visit.open_calls[0].due - minor.visit.open_calls[0].called_at == 15 * MINUTE
    assert critical.visit.open_calls[0].due - critical.now == 5 * MINUTE


def test_taken_without_progress_climbs() -> None:
    walk = called()
    walk.call_press("take")
    call = walk.visit.open_calls[0]
    assert (call.operator, call.due - walk.now) == ("ack", 45 * MINUTE)
    walk.advance(45)
    assert walk.called == SECOND.user
    assert walk.visit.open_calls[0].operator == "none"


def test_taken_is_taken() -> None:
    walk = called()
    walk.call_press("take")
    assert walk.call_press("take", SECOND) == "taken"
    assert walk.call_press("take", ONCALL) == "repeat"
    assert walk.call_press("close_fixed", SECOND) == "not_taker"


def test_an_admin_may_close_what_another_took() -> None:
    walk = called()
    walk.call_press("take")
    assert walk.call_press("close_fixed", ADMIN) == "ok"


def test_handed_on_the_giver_keeps_it_until_accepted() -> None:
    walk = called()
    walk.call_press("take")
    walk.call_press("hand")
    call = walk.visit.open_calls[0]
    assert (call.taken_by, call.offered_to) == (ONCALL.user, SECOND.user)
    walk.call_press("take", SECOND)
    call = walk.visit.open_calls[0]
    assert (call.taken_by, call.offered_to) == (SECOND.user, "")


def test_an_offer_that_nobody_accepts_lapses() -> None:
    walk = called()
    walk.call_press("take")
    walk.call_press("hand")
    walk.advance(15)
    call = walk.visit.open_calls[0]
    assert (call.taken_by, call.offered_to, call.operator) == (ONCALL.user, "", "ack")
    assert walk.team[-1] == "call_offer_lapsed"


def test_what_nobody_took_cannot_be_handed_on_or_put_off() -> None:
    walk = called()
    for verb in ("hand", "later"):
        assert walk.call_press(verb, ADMIN) == "not_taker"
    assert walk.visit.open_calls[0].operator == "none"


def test_putting_off_has_a_maximum() -> None:
    walk = called()
    walk.call_press("take")
    for _ in range(4):
        assert walk.call_press("later") == "ok"
        assert walk.visit.open_calls[0].operator == "shelved"
        walk.advance(29)
        walk.call_press("take")
    assert walk.call_press("later") == "put_off_enough"


def test_put_off_it_is_called_again() -> None:
    walk = called()
    walk.call_press("take")
    walk.call_press("later")
    walk.advance(30)
    assert walk.team[-1] == "call_again"
    assert walk.visit.open_calls[0].operator == "none"


def test_critical_is_never_put_off() -> None:
    walk = called("danger")
    walk.call_press("take")
    assert walk.call_press("later") == "not_critical"
    assert walk.call_press("third") == "not_critical"
    assert walk.order("third_party", ONCALL, minutes="60") != "ok"
    assert walk.visit.open_calls[0].operator == "ack"


def test_only_a_dead_line_waits_on_a_third_party() -> None:
    walk = called("fault")
    walk.call_press("take")
    assert walk.call_press("third") == "stale"


def test_a_third_party_has_a_maximum_too() -> None:
    walk = called("dead_line")
    assert walk.order("third_party", ONCALL, minutes="1441") == "put_off_enough"
    assert walk.visit.open_calls[0].operator == "ack"
    assert walk.order("third_party", ONCALL, minutes="soon") == "unknown"
    assert walk.call_press("third") == "ok"


def test_closing_what_is_not_cleared_needs_a_reason_and_leaves_the_unit_watched() -> None:
    walk = called("fault")
    walk.call_press("take")
    walk.call_press("close")
    assert walk.team[-1] == "call_why"
    assert walk.visit.open_calls
    assert walk.call_press("close_cleared") == "needs_reason"
    assert walk.call_press("close_whatever") == "needs_reason"
    assert walk.call_press("close_false_alarm") == "ok"
    assert walk.team[-1] == "call_closed_watched"
    assert walk.visit.units[0].watched_until == walk.now + 60 * MINUTE
    assert walk.asked() == "loading.light"  # and the walk goes on


def test_what_is_cleared_is_closed_without_a_reason() -> None:
    walk = called()
    walk.press("done")
    walk.call_press("take")
    assert walk.call_press("close") == "ok"
    call = walk.visit.calls[0]
    assert (call.operator, call.reason) == ("closed", "cleared")
    assert walk.visit.units[0].watched_until is None


def test_what_is_cleared_and_stays_open_is_asked_for() -> None:
    walk = called()
    walk.press("done")
    walk.to("registry.light")
    walk.register()
    walk.advance(61)
    assert walk.team[-1] == "call_please_close"


def test_a_unit_lost_and_closed_too_soon_is_called_again() -> None:
    walk = Walk(plan()).to("registry.light")
    walk.register()
    walk.press("done")
    walk.register(kind="lost")
    walk.call_press("take")
    walk.call_press("close_false_alarm")
    walk.advance(60)
    assert walk.causes() == ["lost"]
    walk.register()
    assert walk.visit.units[0].watched_until is None


def test_closed_with_another_evening() -> None:
    walk = called("fault")
    walk.call_press("take")
    walk.call_press("close_rebook")
    assert walk.visit.state == "rebook"
    assert walk.last == "rebook_line_down"
    assert walk.told[-1] == "without_service"  # the line is down: new starts are held


def test_silence_closed_by_a_person_counts_anew() -> None:
    walk = called()
    walk.call_press("take")
    walk.call_press("close_fixed")
    assert walk.asked() == "placing.place"
    assert walk.deadlines["window"] == walk.now + 20 * MINUTE


def test_an_order_may_close_with_a_reason() -> None:
    walk = called()
    call = walk.visit.open_calls[0].id
    assert walk.order("close", STRANGER, call=call, reason="fixed") == "not_yours"
    assert walk.order("close", ADMIN, call=call, reason="fixed") == "ok"
    assert walk.causes() == []


def test_taken_before_it_was_called_out_it_still_has_its_card() -> None:
    walk = Walk(plan(deputy=None)).to("loading.light")
    walk.press("light:fault")
    walk.call_press("take")
    assert walk.team == ["call", "call_taken"]
    first = next(m for m in walk.messages if m.template == "call")
    assert first.root


def test_with_nobody_on_the_list_it_still_repeats() -> None:
    walk = Walk(plan(deputy=None), context=replace(context(), roster=Roster()))
    walk.to("placing.place")
    walk.advance(120)
    assert walk.told.count("unanswered") == 1
    assert walk.deadlines


def test_the_ladder_starts_with_whose_turn_it_is() -> None:
    people = [s.user for s in ROSTER.ladder("admin", 0)]
    assert people == [ADMIN.user, ONCALL.user, SECOND.user]
