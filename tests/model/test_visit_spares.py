"""A unit is replaced by a spare, and old units go back: the serials, the dates, the reminders."""

from typing import Any

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bot.model.fact import Actor, Told
from bot.model.policy import MINUTE
from bot.model.serial import normal
from bot.model.subject import of_visit
from bot.model.visit.state import Unit
from tests.model.kit import (
    ADMIN,
    CONTACT,
    ONCALL,
    OTHER,
    SERIAL,
    START,
    UNIT,
    WAVE,
    Walk,
    clock,
    plan,
)

SPARE = "HML-9Z8Y7X"
DATE = "2026-10-27 19:00"
DAY = 24 * 60


def swap(walk: Walk, **changed: str) -> str:
    args = {"old": SERIAL, "new": SPARE, "source": "store", "reason": "damaged", "when": DATE}
    return walk.order("replace", ADMIN, **(args | changed))


def agreed() -> Walk:
    return Walk(plan()).agree()


def aside(walk: Walk) -> list[Told]:
    facts = [m.fact for m in walk.messages if m.way == "fact"]
    told = [msgspec.json.decode(fact, type=Told) for fact in facts]
    return [one for one in told if one.what == "withdrawn"]


def test_the_spare_is_expected_and_the_visit_planned_for_the_date() -> None:
    walk = agreed()
    assert swap(walk) == "ok"
    assert [u.serial for u in walk.visit.units] == [SPARE]
    assert (walk.visit.state, walk.visit.start) == ("planned", clock(DATE))
    found = walk.visit.spares.swaps[0]
    assert (found.old, found.new, found.reason, found.source, found.by) == (
        SERIAL,
        SPARE,
        "damaged",
        "store",
        ADMIN.user,
    )
    index = [m.args["value"] for m in walk.messages if m.way == "index"]
    assert normal(SPARE) in index
    walk.begin()
    walk.to("registry.light")
    walk.register(SPARE)
    assert walk.visit.unit(SPARE).online


def test_nobody_has_read_the_spare_s_version() -> None:
    walk = agreed()
    assert walk.visit.units[0].version
    assert swap(walk) == "ok"
    assert walk.visit.units[0].version == ""


def test_a_withdrawn_serial_marks_nothing_and_is_shown() -> None:
    walk = agreed()
    swap(walk)
    before = walk.visit.units
    assert walk.register(SERIAL) == "nothing"
    assert walk.visit.units == before
    assert [one.args["serial"] for one in aside(walk)] == [SERIAL]


def test_after_it_came_back_and_was_wiped_it_may_be_used_again() -> None:
    walk = agreed()
    swap(walk)
    assert walk.visit.spares.withdraws(SERIAL.lower().replace("-", " "))
    assert walk.order("return_wiped", ADMIN, serial=SERIAL) == "ok"
    assert walk.visit.spares.withdraws(SERIAL)
    assert walk.order("return_back", ADMIN, serial=SERIAL) == "ok"
    assert not walk.visit.spares.withdraws(SERIAL)


@pytest.mark.parametrize(
    ("changed", "answer"),
    [
        ({"old": "HML-NOWHERE"}, "no_unit"),
        ({"new": SERIAL}, "spare_here"),
        ({"reason": "bored"}, "swap_how"),
        ({"source": "street"}, "swap_how"),
        ({"when": "next week"}, "bad_date"),
        ({"when": "2026-10-01 19:00"}, "past_date"),
    ],
)
def test_what_is_not_written_well_is_refused_and_changes_nothing(
    changed: dict[str, str], answer: str
) -> None:
    walk = agreed()
    before = walk.state
    assert swap(walk, **changed) == answer
    assert walk.state == before


def test_only_the_team_replaces() -> None:
    walk = agreed()
    args = {"old": SERIAL, "new": SPARE, "source": "store", "reason": "damaged", "when": DATE}
    assert walk.order("replace", Actor(CONTACT.user), **args) == "not_yours"


def test_without_the_spares_serial_the_visit_waits_and_then_is_planned() -> None:
    walk = agreed()
    assert swap(walk, new="") == "ok"
    assert walk.visit.state == "rebook"
    assert walk.visit.spares.waiting is not None
    assert swap(walk) == "swap_waits"
    walk.register(SERIAL)
    assert walk.visit.unit(SERIAL).registered_at is None
    assert walk.order("spare", ADMIN, new=SPARE) == "ok"
    assert walk.visit.spares.waiting is None
    assert [u.serial for u in walk.visit.units] == [SPARE]
    assert walk.visit.state == "planned"


def test_a_site_without_its_line_goes_back_to_the_old_unit_first() -> None:
    walk = Walk(plan()).to("loading.light")
    walk.press("light:fault")
    assert swap(walk, reason="dead") == "ok"
    assert walk.visit.back.walking
    assert walk.asked() == "back_unplug.unplug"
    for _ in range(3):
        walk.press("done")
    walk.press("old_works")
    assert walk.visit.state == "planned"
    assert [u.serial for u in walk.visit.units] == [SPARE]
    assert walk.visit.start == clock(DATE)
    assert walk.visit.link_down_at is None


def test_by_buttons_of_the_call() -> None:
    walk = agreed()
    walk.say("the box is damaged, it has a big crack")
    assert walk.causes() == ["damaged"]
    assert walk.last == "box_damaged"
    walk.advance(2)
    call = walk.visit.open_calls[0]
    verbs = ("replace", "damaged", "damaged.maker", "damaged.maker.7")
    for verb in verbs:
        assert walk.press_action(f"s:{call.id}:{verb}", CONTACT.user) == "not_yours"
        assert walk.press_action(f"s:{call.id}:{verb}", ADMIN) == "ok"
    waiting = walk.visit.spares.waiting
    assert waiting is not None
    assert waiting.start == START + (7 * 24 + 1) * 60 * MINUTE  # the clocks go back in between
    assert walk.order("spare", ADMIN, new=SPARE) == "ok"
    assert walk.visit.state == "planned"
    assert not [c for c in walk.visit.open_calls if c.cleared_at is None]


def test_a_spare_of_another_site_is_given_up_there() -> None:
    other = of_visit(WAVE, "alder")
    walk = agreed()
    swap(walk, source="other_site", other=str(other))
    told = [msgspec.json.decode(m.fact, type=Told) for m in walk.messages if m.way == "fact"]
    gave = next(one for one in told if one.what == "given_away")
    assert (gave.subject, gave.args["serial"]) == (other, SPARE)

    there = Walk(plan((Unit(SPARE, "HG-10", "4.2.0"),))).agree()
    args = {"serial": SPARE, "by": ADMIN.user, "to": "Brook Library"}
    there.bring(Told(source=walk.subject, what="given_away", args=args, **there._base()))
    assert there.visit.state == "rebook"
    assert there.register(SPARE) == "nothing"
    assert there.visit.unit(SPARE).registered_at is None


def test_a_site_list_that_still_names_the_old_unit_means_the_spare() -> None:
    walk = agreed()
    swap(walk)
    walk.plan(plan(start=clock(DATE)))
    assert [u.serial for u in walk.visit.units] == [SPARE]


def test_danger_comes_first() -> None:
    walk = Walk(plan()).to("loading.light")
    walk.say("smoke is coming out of it")
    assert swap(walk) == "stopped"


# --- returns ---------------------------------------------------------------------------------


def finished() -> Walk:
    walk = Walk(plan()).to("registry.light")
    walk.register()
    walk.press("done")
    return walk


def returning() -> Walk:
    walk = finished()
    assert walk.order("old_may_go", ADMIN) == "ok"
    return walk


def the_return(walk: Walk) -> Any:
    return walk.visit.spares.returns[0]


def test_the_site_is_told_once_what_may_go() -> None:
    walk = returning()
    assert walk.said[-2:] == ["returns_packing", "returns_send"]
    assert the_return(walk).stage == "to_send"
    assert walk.order("old_may_go", ADMIN) == "nothing"
    assert walk.said.count("returns_packing") == 1


def test_nothing_goes_before_the_visit_is_over() -> None:
    walk = Walk(plan()).to("registry.light")
    assert walk.order("old_may_go", ADMIN) == "nothing"


@pytest.mark.parametrize(
    ("said", "number"),
    [
        ("I have sent it, the number is HL 123 456 789 GB", "HL 123 456 789 GB"),
        ("HL123456789", "HL123456789"),
        ("tracking 00340434161094021501", "00340434161094021501"),
    ],
)
def test_the_site_gives_the_number_in_its_own_words(said: str, number: str) -> None:
    walk = returning()
    walk.say(said)
    assert (the_return(walk).stage, the_return(walk).tracking) == ("sent", number)
    assert walk.last == "returns_thanks"
    assert not any(kind.startswith("return") for kind in walk.deadlines)


def test_other_words_are_no_number() -> None:
    walk = returning()
    for said in ("I will do it on Monday at 10:30", "thanks", "my number is 07700"):
        walk.say(said)
    assert the_return(walk).stage == "to_send"


def test_reminders_are_kind_spaced_by_day_and_end_with_the_admins() -> None:
    walk = returning()
    walk.advance(40 * DAY)
    assert walk.said.count("returns_reminder") == 3
    notes = [m for m in walk.messages if m.template == "call_return_missing"]
    assert notes
    for message in walk.messages:
        if message.template == "returns_reminder":
            hour = (message.made_at // (60 * MINUTE)) % 24
            assert 7 <= hour <= 20


def test_arrival_and_wiping_are_the_teams_word() -> None:
    walk = returning()
    assert walk.order("tracking", ADMIN, tracking="HL123456789") == "ok"
    assert walk.order("return_back", ONCALL) == "not_yours"
    assert walk.order("return_back", ADMIN) == "ok"
    assert walk.order("return_wiped", ADMIN) == "ok"
    found = the_return(walk)
    assert (found.stage, found.wiped_by, found.wiped_at) == ("back", ADMIN.user, walk.now)


# --- any order -------------------------------------------------------------------------------

_STEP = st.sampled_from(
    ["swap", "spare", "register old", "register new", "register other", "lost old", "press", "day"]
)


@settings(max_examples=60, deadline=None)
@given(start=st.sampled_from(["agreed", "loading", "done"]), steps=st.lists(_STEP, max_size=14))
def test_a_replaced_serial_never_marks_the_site(start: str, steps: list[str]) -> None:
    walk = {"agreed": agreed, "done": finished}.get(
        start, lambda: Walk(plan()).to("loading.light")
    )()
    for step in steps:
        withdrawn = walk.visit.spares.withdraws(SERIAL)
        before = {u.serial: u.registered_at for u in walk.visit.units}
        match step:
            case "swap":
                swap(walk, new="")
            case "spare":
                walk.order("spare", ADMIN, new=SPARE)
            case "register old":
                walk.register(SERIAL)
            case "register new":
                walk.register(SPARE)
            case "register other":
                walk.register(OTHER)
            case "lost old":
                walk.register(SERIAL, "lost")
            case "press" if walk.visit.question is not None:
                walk.say("done")
            case "day":
                walk.advance(DAY)
        if withdrawn and step in ("register old", "register other"):
            after = {u.serial: u.registered_at for u in walk.visit.units}
            assert after == before
    assert UNIT.serial == SERIAL
    assert walk.replayed() == walk.state
