"""Before the evening: the plan, the invitation, consent, what is held, an evening that fails."""

import pytest
from msgspec.structs import replace

from bot.model.policy import MINUTE, Policy
from tests.model.kit import (
    ADMIN,
    CONTACT,
    LEAST,
    ONCALL,
    SECOND_UNIT,
    SERIAL,
    START,
    UNIT,
    Walk,
    clock,
    context,
    plan,
)

HOUR = 60


def test_the_invitation_asks_for_consent_to_the_time() -> None:
    walk = Walk(plan())
    walk.advance(0)
    assert walk.said == ["root", "invite"]
    assert "Tuesday 20 October at 19:00" in walk.text("invite")
    assert walk.press("yes") == "ok"
    assert walk.visit.state == "agreed"
    assert walk.last == "agreed"


@pytest.mark.parametrize("answer", ["no", "other_time"])
def test_consent_is_refused_without_a_reason(answer: str) -> None:
    walk = Walk(plan())
    walk.advance(0)
    walk.press(answer)
    assert walk.visit.state == "rebook"
    assert walk.last == "rebook"
    assert walk.visit.question is None
    call = walk.visit.open_calls[0]
    assert (call.cause, call.first) == ("not_started", "admin")


def test_no_invitation_in_quiet_hours() -> None:
    late = clock("2026-10-16 23:10")
    walk = Walk(plan(), at=late)
    assert walk.deadlines == {"invite": clock("2026-10-17 19:00")}  # three days ahead
    late = clock("2026-10-19 23:10")
    walk = Walk(plan(), at=late)
    assert walk.deadlines == {"invite": clock("2026-10-20 08:00")}


def test_quiet_hours_are_those_of_the_site() -> None:
    at = clock("2026-10-19 19:00", "Europe/London")  # 21:00 in Athens
    walk = Walk(plan(tz="Europe/Athens"), at=at)
    assert walk.deadlines == {"invite": clock("2026-10-20 08:00", "Europe/Athens")}


def test_an_invitation_that_would_come_too_late_goes_out_at_once() -> None:
    start = clock("2026-10-20 08:10")
    walk = Walk(plan(start=start), at=clock("2026-10-19 23:00"))
    assert walk.deadlines == {"invite": walk.now}


def test_the_reminder_of_an_invitation_waits_for_the_morning() -> None:
    walk = Walk(plan(), at=clock("2026-10-17 20:00"), context=context())
    walk.advance(0)
    walk.context = context(policy=Policy(quiet_from=Policy().quiet_from.replace(hour=19)))
    assert walk.deadlines["nudge"] == clock("2026-10-19 08:00")


def test_quiet_hours_do_not_stop_an_install_under_way() -> None:
    walk = Walk(plan(start=clock("2026-10-20 20:25"))).begin()
    assert walk.asked() == "mobile_data.mobile"
    walk.advance(6)  # 20:31
    assert walk.last == "mobile_data_nudge"


def test_who_never_agreed_is_not_started_and_that_is_the_admins() -> None:
    walk = Walk(plan())
    walk.until(START)
    assert walk.visit.state == "rebook"
    assert walk.last == "not_started"
    walk.advance(2)
    assert walk.called == ADMIN.user


def test_a_contact_who_does_not_come_is_the_admins() -> None:
    walk = Walk(plan()).agree()
    walk.until(START + 30 * MINUTE)
    assert walk.said.count("begin_nudge") == 1
    assert walk.causes() == ["not_started"]
    walk.advance(2)
    assert walk.called == ADMIN.user
    walk.press("here")  # and comes after all
    assert walk.visit.open_calls[0].cleared_at == walk.now
    assert walk.asked() == "mobile_data.mobile"


def test_not_tonight_finds_another_evening() -> None:
    walk = Walk(plan()).agree()
    walk.until(START)
    walk.press("not_tonight")
    assert (walk.visit.state, walk.last) == ("rebook", "rebook")
    assert walk.causes() == ["not_started"]


@pytest.mark.parametrize(
    ("unit", "why"),
    [
        (replace(UNIT, version="4.1.9"), "held_version"),
        (replace(UNIT, model="HG-2"), "held_attended"),
        (replace(UNIT, model="HG-99"), "held_model"),
    ],
)
def test_a_unit_that_may_not_be_installed_is_held_before_anyone_is_asked(
    unit: object, why: str
) -> None:
    walk = Walk(plan((unit,)))  # type: ignore[arg-type]
    assert walk.visit.state == "held"
    assert walk.visit.units[0].state == "held"
    walk.until(START + HOUR * MINUTE)
    assert walk.said == []
    call = walk.visit.open_calls[0]
    assert (call.cause, call.first, call.seen) == ("held", "admin", f"@x:{why}")


def test_a_corrected_list_releases_a_held_visit() -> None:
    walk = Walk(plan((replace(UNIT, version="4.1.9"),)))
    walk.advance(5)
    assert walk.plan(plan()) == "ok"
    assert walk.visit.state == "planned"
    assert walk.visit.open_calls[0].cleared_at == walk.now
    walk.advance(0)
    assert walk.last == "invite"


def test_the_same_wrong_list_again_calls_nobody_twice() -> None:
    wrong = plan((replace(UNIT, version="4.1.9"),))
    walk = Walk(wrong)
    walk.advance(5)
    walk.plan(wrong)
    assert walk.causes(open_only=False) == ["held"]


def test_the_admin_may_let_a_held_unit_go_ahead() -> None:
    walk = Walk(plan((replace(UNIT, version="4.1.9"),)))
    walk.advance(5)
    walk.call_press("take", ADMIN)
    walk.call_press("close_false_alarm", ADMIN)
    assert walk.visit.state == "planned"
    walk.advance(0)
    assert walk.last == "invite"
    walk.plan(plan((replace(UNIT, version="4.1.9"),), start=START + HOUR * MINUTE))
    assert walk.visit.state == "planned"  # a new start is no new reason


def test_a_unit_of_unknown_version_is_held_from_inventory_until_its_label_is_read() -> None:
    walk = Walk(plan((replace(UNIT, version=""),))).to("inventory.unpack")
    assert walk.visit.units[0].state == "held"
    walk.press("done")
    walk.press("same")
    assert walk.asked() == "inventory.version"
    assert walk.visit.units[0].state == "held"
    walk.say(LEAST)
    assert walk.visit.units[0].state == "checked"
    assert walk.asked() == "inventory.lead"


def test_a_version_too_low_on_the_label_goes_to_a_person() -> None:
    walk = Walk(plan((replace(UNIT, version=""),))).to("inventory.serial")
    walk.press("same")
    walk.say("4.1.0")
    assert walk.last == "wrong_version"
    assert walk.causes() == ["mismatch"]
    assert walk.visit.units[0].state == "held"
    assert walk.visit.question is None


def _at_the_label() -> Walk:
    walk = Walk(plan((replace(UNIT, version=""),))).to("inventory.serial")
    walk.press("same")
    return walk


def test_a_version_without_its_last_zero_is_the_same() -> None:
    # PEP 440: 4.2 and 4.2.0 compare equal, by zero padding (from memory)
    walk = _at_the_label()
    walk.say("4.2")
    assert walk.asked() == "inventory.lead"
    assert not walk.causes()


def test_a_short_version_that_is_too_low_is_asked_again_once() -> None:
    walk = _at_the_label()
    walk.say("4.1")
    assert walk.last == "read_version_nudge"
    assert not walk.causes()
    assert walk.asked() == "inventory.version_again"
    walk.say("4.1")
    assert walk.last == "wrong_version"
    assert walk.causes() == ["mismatch"]
    assert walk.visit.units[0].state == "held"


def test_a_short_version_that_is_then_read_whole_goes_on() -> None:
    walk = _at_the_label()
    walk.say("4.1")
    walk.say("4.2.1")
    assert walk.asked() == "inventory.lead"
    assert walk.visit.units[0].version == "4.2.1"
    assert walk.visit.units[0].state == "checked"


def test_a_version_that_is_known_is_not_asked_for() -> None:
    walk = Walk(plan()).to("inventory.lead")
    assert "read_version" not in walk.said
    assert "version" not in walk.said


def test_importing_again_changes_nothing_under_way() -> None:
    walk = Walk(plan()).to("inventory.serial")
    moved = plan((SECOND_UNIT,), start=START + HOUR * MINUTE)
    walk.plan(moved)
    visit = walk.visit
    assert [u.serial for u in visit.units] == [SERIAL]
    assert visit.start == START
    assert walk.asked() == "inventory.serial"
    assert walk.plan(moved) == "repeat"


def test_importing_again_keeps_an_answer_given() -> None:
    walk = Walk(plan()).agree()
    assert walk.plan(plan()) == "repeat"
    assert walk.visit.state == "agreed"


def test_a_new_start_asks_for_consent_again() -> None:
    walk = Walk(plan()).agree()
    walk.plan(plan(start=START + 24 * HOUR * MINUTE))
    assert walk.visit.state == "planned"
    walk.advance(0)
    assert walk.said.count("invite") == 2


def test_an_admin_who_rebooks_is_not_called_about_it() -> None:
    walk = Walk(plan()).to("placing.place")
    walk.order("rebook")
    assert walk.last == "rebook"
    assert walk.causes() == []
    assert not walk.visit.live


def test_another_evening_can_be_planned_after_one_that_failed() -> None:
    walk = Walk(plan()).to("placing.place")
    walk.order("rebook")
    assert walk.visit.state == "rebook"
    walk.advance(HOUR)
    walk.plan(plan(start=START + 48 * HOUR * MINUTE))
    walk.until(START + 24 * HOUR * MINUTE)
    walk.to("placing.place")
    assert walk.visit.state == "running"


def test_a_new_plan_does_not_take_back_a_registration() -> None:
    walk = Walk(plan())
    walk.advance(0)
    walk.press("no")
    walk.register()
    at = walk.visit.units[0].registered_at
    walk.plan(plan(start=START + 48 * HOUR * MINUTE))
    assert walk.visit.units[0].registered_at == at
    assert at is not None


def test_a_button_of_the_team_is_no_use_to_a_stranger_or_contact() -> None:
    walk = Walk(plan())
    walk.advance(0)
    walk.press("no")
    walk.advance(2)
    assert walk.call_press("take", CONTACT.user) == "not_yours"
    assert walk.call_press("take", ONCALL) == "ok"
