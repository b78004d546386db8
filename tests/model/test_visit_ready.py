"""Before the evening: what is asked, by whom it is settled, and that nothing starts without it."""

import pytest
from msgspec.structs import replace

from bot.model.people import BY_PAGE
from bot.model.policy import MINUTE, out_of_quiet
from bot.model.roster import Roster
from bot.model.runbook_ready import ReadyItem, ReadySection
from bot.model.visit.ready_events import PutOff, StartAnyway
from bot.model.visit.ready_gaps import gaps
from bot.model.visit.ready_times import deadlines
from bot.model.visit.state import Person, Unit
from tests.model.kit import (
    ADMIN,
    CONTACT,
    DEPUTY,
    ONCALL,
    OTHER,
    SECOND_UNIT,
    SERIAL,
    START,
    STRANGER,
    UNIT,
    Walk,
    clock,
    plan,
)
from tests.model.ready_kit import (
    DAY,
    HOUR,
    agreed,
    all_of_team,
    listed,
    press_ready,
    settle,
    walk,
)


def missing(one: Walk) -> list[str]:
    return [gap.text for gap in gaps(one.visit, one.context.book, True)]


def of_site_settled() -> Walk:
    """The people of the site have answered all that they are asked."""
    one = agreed()
    one.until(one.deadlines["ready_ask"])
    one.press("carton_fine")
    one.press("same")
    press_ready(one, "deputy_yes", DEPUTY.user)
    one.until(one.deadlines["ready_ask"])
    one.press("contact_yes")
    return one


# --- asking -------------------------------------------------------------------------------


def test_after_the_yes_the_site_is_asked_one_thing_at_a_time() -> None:
    one = agreed()
    assert one.last == "agreed"
    one.until(one.deadlines["ready_ask"])
    assert one.last == "ready_carton"
    one.press("carton_fine")
    assert one.last == "ready_label"  # who stands at the carton can read its label at once
    one.press("same")
    assert one.last == "ready_thanks"
    before = one.now
    one.until(one.deadlines["ready_ask"])
    assert one.last == "ready_contact"
    assert one.now >= before + HOUR * MINUTE
    one.press("contact_yes")
    assert missing(one) == ["gap_line", "gap_registry", "gap_deputy"]
    assert "ready_ask" not in one.deadlines


def test_nothing_is_asked_at_night() -> None:
    one = walk()
    one.until(one.deadlines["invite"])
    one.until(clock("2026-10-17 20:20"))
    one.press("yes")
    for kind in ("ready_ask", "ready_deputy"):
        at = one.deadlines[kind]
        assert out_of_quiet(at, "Europe/London", one.context.policy) == at
    one.until(one.deadlines["ready_ask"])
    assert one.now == clock("2026-10-18 08:00")


def test_it_can_be_answered_in_words() -> None:
    one = agreed()
    one.until(one.deadlines["ready_ask"])
    one.say("yes it's here and looks fine")
    assert one.last == "ready_label"
    one.say(SERIAL)
    assert one.last == "ready_thanks"
    one.until(one.deadlines["ready_ask"])
    one.say("yes, both")
    assert "gap_contact" not in missing(one)


def test_each_carton_of_a_site_with_two_is_read_in_whatever_order() -> None:
    one = walk(plan((UNIT, SECOND_UNIT))).agree()
    one.until(one.deadlines["ready_ask"])
    one.press("carton_fine")
    one.press("different")
    one.say(OTHER)
    assert one.last == "ready_label"
    assert "gap_label" in missing(one)
    one.press("same")
    assert one.last == "ready_thanks"
    assert "gap_label" not in missing(one)


def test_reminded_once_and_then_it_is_the_admins() -> None:
    one = agreed()
    one.until(one.deadlines["ready_ask"])
    first = one.now
    one.until(first + 3 * DAY * MINUTE - 1)
    assert one.said.count("ready_carton_nudge") == 1
    assert one.said.count("ready_contact") == 0  # who does not answer is asked nothing more
    assert "gap_carton_silent" in missing(one)
    told = [m.template for m in one.messages if m.thread.startswith("team:")]
    assert told.count("readiness_silent") == 2  # of the contact, of the deputy
    owners = {g.item: g.owner for g in gaps(one.visit, one.context.book, True)}
    assert owners["carton"] == owners["deputy"] == "admin"
    assert one.causes() == []


def test_an_answer_that_comes_late_still_counts() -> None:
    one = agreed()
    one.until(one.deadlines["ready_ask"])
    one.until(one.now + 49 * HOUR * MINUTE)
    if one.visit.state == "agreed":
        one.press("carton_fine")
        assert "gap_carton_silent" not in missing(one)


def test_no_hurry_moves_the_reminder() -> None:
    one = agreed()
    one.until(one.deadlines["ready_ask"])
    one.say("later please")
    assert one.last == "ready_no_hurry"
    assert one.visit.question.nudge_at is not None


def test_the_deputy_confirms_by_a_press_of_their_own() -> None:
    one = agreed()
    one.until(one.deadlines["ready_deputy"])
    asked = [m for m in one.messages if m.template == "ready_deputy"]
    assert [m.thread for m in asked] == [f"user:{DEPUTY.user}"]
    assert press_ready(one, "deputy_yes", CONTACT.user) == "not_yours"
    assert "gap_deputy" in missing(one)
    assert press_ready(one, "deputy_yes", DEPUTY.user) == "ok"
    assert "gap_deputy" not in missing(one)
    assert press_ready(one, "deputy_no", DEPUTY.user) == "ok"
    assert "gap_deputy_away" in missing(one)


def test_a_deputy_without_a_chat_account_is_the_admins_to_ask() -> None:
    one = walk(plan(deputy=Person("k2", f"{BY_PAGE}deputy"))).agree()
    assert "ready_deputy" not in one.deadlines
    owners = {g.item: g.owner for g in gaps(one.visit, one.context.book, True)}
    assert owners["deputy"] == "admin"


def test_a_site_without_a_deputy_needs_none() -> None:
    assert "gap_deputy" not in missing(walk(plan(deputy=None)).agree())


# --- what the answers lead to -------------------------------------------------------------


def test_a_damaged_box_is_the_admins_call_and_a_gap() -> None:
    one = agreed()
    one.until(one.deadlines["ready_ask"])
    one.press("carton_damaged")
    assert one.last == "ready_damaged"
    one.advance(2)
    assert one.causes() == ["damaged"]
    assert one.called == ADMIN.user
    assert "gap_carton_damaged" in missing(one)


def test_who_closes_that_call_as_solved_says_that_the_box_is_in_order() -> None:
    one = agreed()
    one.until(one.deadlines["ready_ask"])
    one.press("carton_damaged")
    one.advance(2)
    one.call_press("take", ADMIN)
    one.call_press("close", ADMIN)
    one.call_press("close_fixed", ADMIN)
    assert not [text for text in missing(one) if text.startswith("gap_carton")]


def test_a_carton_that_can_still_come_is_asked_for_again() -> None:
    one = agreed()
    one.until(one.deadlines["ready_ask"])
    one.say("no carton has arrived yet")
    assert one.last == "ready_not_here"
    assert one.causes() == []
    one.until(one.deadlines["ready_ask"])
    while one.last != "ready_carton":
        one.press("contact_yes")
        one.until(one.deadlines["ready_ask"])
    assert one.said.count("ready_carton") == 2
    one.press("carton_not_here")
    assert one.last == "not_arrived"  # now it is overdue: the admin is called
    assert one.causes() == ["missing_part"]


def test_a_carton_for_another_place_is_seen_before_the_evening() -> None:
    one = agreed()
    one.until(one.deadlines["ready_ask"])
    one.press("carton_fine")
    one.say("HML-ZZ9ZZ9")
    assert one.last == "ready_label_again"
    one.say("HML-ZZ9ZZ9")
    assert one.last == "ready_wrong_carton"
    assert one.causes() == ["mismatch"]
    assert "gap_label_other_serial" in missing(one)


def test_another_number_is_kept_among_the_personal_data() -> None:
    one = agreed(listed("carton", "label", "deputy"))
    one.until(one.deadlines["ready_ask"])
    one.press("contact_number")
    assert one.last == "ready_number"
    one.say("07700 900123")
    assert one.last == "ready_thanks"
    assert one.visit.callback
    assert "07700" not in str(one.journal)
    assert one.causes() == []


def test_refusing_leads_to_another_date_with_one_kind_sentence_and_no_question_why() -> None:
    one = agreed(listed("carton", "label", "deputy"))
    one.until(one.deadlines["ready_ask"])
    one.press("contact_no")
    assert (one.visit.state, one.last) == ("rebook", "rebook")
    assert one.asked() == ""


def test_the_yes_can_still_be_taken_back_after_the_other_answers() -> None:
    one = agreed()
    one.until(one.deadlines["ready_ask"])
    one.press("carton_fine")
    assert one.visit.given.question.ask == "consent"


# --- settled by the team and from outside --------------------------------------------------


def test_the_team_settles_with_who_and_when() -> None:
    one = agreed()
    assert one.order("ready", ONCALL, item="line", value="yes") == "ok"
    word = one.visit.ready.word_on("line")
    assert (word.by, word.at, word.good) == (ONCALL.user, one.now, True)
    assert one.order("ready", ONCALL, item="line", value="yes") == "nothing"
    assert one.order("ready", ONCALL, item="line", value="no") == "ok"
    assert "gap_line_failed" in missing(one)
    assert one.order("ready", ADMIN, item="consent", value="yes") == "no_item"
    assert one.order("ready", STRANGER, item="line", value="yes") == "not_yours"


def test_the_site_list_settles_and_speaks_only_for_the_units_it_names() -> None:
    everything = listed("carton", "label", "line", "registry", "contact", "deputy")
    one = agreed(everything)
    assert missing(one) == []
    assert not [kind for kind in one.deadlines if kind.startswith("ready")]
    one.order("rebook")
    one.order("new_date", when="2026-10-27 18:00")
    assert missing(one) == ["gap_contact", "gap_deputy", "gap_consent"]
    moved = replace(everything, units=(Unit("HML-OTHER1", "HG-10", "4.2.0"),))
    one.plan(replace(moved, site=replace(moved.site, ready=("line",))))
    assert "gap_registry" in missing(one)
    assert "gap_line" not in missing(one)


def test_a_contact_who_says_it_is_not_there_is_believed_over_the_list() -> None:
    one = agreed(listed("carton", "label", "line", "registry", "contact", "deputy"))
    one.say("no carton has arrived yet")
    assert "gap_carton_not_here" in missing(one)


# --- the start -----------------------------------------------------------------------------


def test_a_site_where_all_is_settled_begins() -> None:
    one = of_site_settled()
    all_of_team(one)
    one.until(START)
    assert one.asked() == "begin.begin"


def test_a_site_with_a_gap_is_put_off_hours_before_and_the_team_has_one_line() -> None:
    one = of_site_settled()
    settle(one, "registry")
    one.until(START - 5 * HOUR * MINUTE)
    told = [m for m in one.messages if m.thread.startswith("team:")]
    assert [m.template for m in told] == ["readiness_line"]
    assert told[0].args["gap1"] == "@x:gap_line"
    assert one.visit.state == "agreed"
    one.until(START - 4 * HOUR * MINUTE)
    assert (one.visit.state, one.last) == ("rebook", "ready_put_off")
    assert any(isinstance(ev, PutOff) and ev.items == ("line",) for ev, _ in one.journal)
    one.until(START + 60 * MINUTE)
    assert len([m for m in one.messages if m.thread.startswith("team:")]) == 1
    assert one.causes() == []


def test_told_before_the_night_where_the_start_is_in_the_morning() -> None:
    start = clock("2026-10-20 09:00")
    one = walk(plan(start=start)).agree()
    one.until(start - 8 * HOUR * MINUTE)
    assert one.said[-1] == "ready_put_off"


def test_what_goes_wrong_later_counts_at_the_start() -> None:
    one = of_site_settled()
    all_of_team(one)
    one.until(START - 10 * MINUTE)
    one.order("ready", ONCALL, item="line", value="no")
    assert one.visit.state == "agreed"
    one.until(START)
    assert (one.visit.state, one.last) == ("rebook", "ready_put_off_now")
    told = [m.template for m in one.messages if m.thread.startswith("team:")]
    assert told == ["readiness_line"]


def test_nobody_on_call_at_the_start_is_a_gap() -> None:
    one = of_site_settled()
    all_of_team(one)
    one.context = replace(one.context, roster=Roster(()))
    one.until(START)
    assert one.visit.state == "rebook"


def test_a_person_by_name_starts_it_anyway_and_that_is_on_record() -> None:
    one = of_site_settled()
    one.until(START - 3 * HOUR * MINUTE)
    assert one.visit.state == "rebook"
    assert press_ready(one, "go", STRANGER) == "not_yours"
    assert press_ready(one, "go", ADMIN) == "ok"
    assert (one.visit.state, one.last) == ("agreed", "ready_after_all")
    anyway = [ev for ev, _ in one.journal if isinstance(ev, StartAnyway)]
    assert [(ev.by, ev.items) for ev in anyway] == [(ADMIN.user, ("line", "registry"))]
    one.until(START)
    assert one.asked() == "begin.begin"


def test_started_anyway_a_little_after_the_time() -> None:
    one = of_site_settled()
    one.until(START + 10 * MINUTE)
    assert one.order("start_anyway", ONCALL) == "ok"
    one.advance(1)
    assert one.asked() == "begin.begin"


@pytest.mark.parametrize("when", ["invited", "said no", "stopped", "held", "late"])
def test_danger_a_held_unit_and_no_yes_are_never_passed_by(when: str) -> None:
    one = walk()
    if when == "held":
        one.plan(plan((replace(UNIT, version="1.0"),)))
    else:
        one.until(one.deadlines["invite"])
        if when == "said no":
            one.press("no")
        elif when != "invited":
            one.press("yes")
    if when == "stopped":
        one.say("there is smoke")
    if when == "late":
        one.until(START + 3 * HOUR * MINUTE)
    answers = {
        "invited": "no_consent",
        "said no": "no_consent",
        "stopped": "not_safe",
        "held": "held_unit",
        "late": "too_late",
    }
    before = one.visit.state
    assert one.order("start_anyway", ADMIN) == answers[when]
    assert one.visit.state == before


def test_the_wave_s_hold_is_not_passed_by_either() -> None:
    one = of_site_settled()
    one.order("start_anyway", ADMIN)
    one.hold()
    one.until(START + MINUTE)
    assert one.visit.state == "agreed"
    assert one.visit.waits_hold


def test_a_new_date_asks_again_for_what_expired_only() -> None:
    one = of_site_settled()
    one.until(START)
    assert one.order("new_date", when="2026-10-27 18:00") == "ok"
    one.agree()
    assert missing(one) == ["gap_line", "gap_registry", "gap_contact", "gap_deputy"]
    assert press_ready(one, "go", ADMIN) == "ok"
    assert one.press_action(f"r:{START}:go", ADMIN) == "stale"


def test_the_button_for_another_date_says_how() -> None:
    one = of_site_settled()
    one.until(START - 4 * HOUR * MINUTE)
    press_ready(one, "date", ADMIN)
    assert one.messages[-1].template == "readiness_how_date"
    assert one.messages[-1].thread == f"user:{ADMIN.user}"


def test_without_the_section_nothing_of_it_happens() -> None:
    one = Walk(plan()).agree()
    assert not [kind for kind in one.deadlines if kind.startswith("ready")]
    assert gaps(one.visit, one.context.book, False) == ()
    one.until(START)
    assert one.asked() == "begin.begin"


def test_a_short_lead_shortens_the_waits() -> None:
    """Planned half an hour before: asked at once, and the start decides."""
    one = walk()
    one.now = START - 30 * MINUTE
    one = Walk(plan(), at=START - 30 * MINUTE, context=one.context).agree()
    one.until(one.deadlines["ready_ask"])
    assert one.now <= START - 28 * MINUTE
    one.until(START)
    assert one.visit.state == "rebook"
    assert one.said.count("ready_carton_nudge") == 1


def test_the_section_names_what_is_wrong_with_it() -> None:
    item = ReadyItem(id="line", owner="carrier")
    with pytest.raises(ValueError, match="named twice"):
        ReadySection(items=(item, item))
    with pytest.raises(ValueError, match="shorter than remind"):
        ReadySection(items=(item,), remind=60, answer_within=30)


def test_a_line_that_cannot_be_delivered_becomes_a_call() -> None:
    one = agreed()
    one.until(one.deadlines["ready_team"])
    lost = next(m for m in one.messages if m.template == "readiness_line")
    one.undeliverable(lost)
    assert one.causes() == ["not_started"]


def test_a_yes_from_before_the_runbook_wanted_anything_counts_from_the_plan() -> None:
    one = agreed()
    early = replace(one.visit, ready=replace(one.visit.ready, opened_at=None))
    due = deadlines(early, one.context.book, one.context.policy)
    assert one.visit.planned_at < due["ready_ask"] <= one.deadlines["ready_ask"]
    assert {"ready_team", "ready_put_off"} <= due.keys()
