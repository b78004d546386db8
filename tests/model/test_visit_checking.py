"""What the site lives on, tried one by one: who is asked, who is called, and what is kept."""

import pytest
from msgspec.structs import replace

from bot.model.policy import MINUTE
from bot.model.visit.finished import checks_passed, open_checks
from bot.model.visit.steps import steps
from tests.model.kit import ONCALL, STRANGER, Walk, plan

SITE = replace(plan().site, cables=("till", "kiosk"), checks=("Kartenleser", "telephone"))
PLAN = replace(plan(), site=SITE)


def checking() -> Walk:
    walk = Walk(PLAN).to("registry.light")
    walk.register()
    return walk.to("site_checks.check")


def failing() -> Walk:
    walk = checking()
    walk.press("broken")
    walk.press("broken")
    return walk


def test_each_cable_and_each_check_has_a_step_of_its_own() -> None:
    walk = Walk(PLAN)
    items = [(s.stage.id, s.item) for s in steps(walk.context.book, walk.visit) if s.item]
    assert items == [
        ("old_cables", "till"),
        ("old_cables", "kiosk"),
        ("move_cables", "till"),
        ("move_cables", "kiosk"),
        ("site_checks", "Kartenleser"),
        ("site_checks", "telephone"),
    ]


def test_a_site_that_names_nothing_is_walked_as_before() -> None:
    walk = Walk(plan())
    stages = {s.stage.id for s in steps(walk.context.book, walk.visit)}
    assert not stages & {"old_box", "old_cables", "unplug_old", "move_cables", "site_checks"}
    assert checks_passed(walk.visit, walk.context.book)


def test_a_site_with_more_to_do_is_told_so_and_has_the_time_for_it() -> None:
    few, many = Walk(plan()).begin(), Walk(PLAN).begin()
    assert "about 40 minutes" in few.text("begin")
    assert "about 55 minutes" in many.text("begin")  # two cables and two things to try
    assert many.visit.agreed_end - few.visit.agreed_end == 15 * MINUTE


def test_what_the_list_calls_it_is_said_in_the_language_of_the_contact() -> None:
    walk = checking()
    assert "switch on the card reader" in walk.text("check_ready")


def test_no_answer_to_a_check_goes_to_the_deputy_and_then_to_on_call_as_silence() -> None:
    walk = checking()
    walk.advance(16)
    assert "deputy_ask" in [m.template for m in walk.messages]
    walk.advance(6)
    assert walk.causes() == ["silent"]
    assert walk.visit.state == "running"  # no check is passed by not answering


def test_off_and_on_again_is_what_was_asked_for_and_no_unit_lost_its_power() -> None:
    walk = checking()
    walk.press("broken")
    walk.say("I switched it off and on again")
    assert walk.asked() == "site_checks.try_first"
    assert walk.last == "check_nudge"
    walk.say("works now")
    assert walk.visit.course.passed("Kartenleser")


def test_a_check_that_is_taken_back_is_asked_again() -> None:
    walk = checking()
    walk.press("works")
    walk.say("no wait, it doesn't work")
    assert not walk.visit.course.passed("Kartenleser")
    assert walk.visit.question.item == "Kartenleser"


def test_only_the_site_says_that_it_works_and_only_while_it_is_called_for() -> None:
    walk = failing()
    call = walk.visit.open_calls[-1]
    assert (call.cause, call.seen) == ("site_check", "the card reader")
    assert walk.press_action(f"c:{call.id}:works", STRANGER) == "not_yours"
    assert walk.press_action("c:e99:works") == "stale"
    assert walk.press_action(f"c:{call.id}:works") == "ok"
    assert walk.visit.question.item == "telephone"
    assert walk.press_action(f"c:{call.id}:works") == "stale"


def test_a_bare_yes_while_a_person_has_it_cures_nothing() -> None:
    walk = failing()
    walk.advance(2)
    walk.call_press("take")
    walk.say("yes")
    walk.say("the card machine does not work now")
    assert walk.causes() == ["site_check"]
    assert not walk.visit.course.passed("Kartenleser")


def test_in_danger_nothing_is_cured_by_a_word() -> None:
    walk = failing()
    walk.say("there is smoke")
    walk.say("card machine works now")
    assert "site_check" in walk.causes()
    assert walk.visit.stopped_at is not None


def test_a_new_list_changes_nothing_of_a_walk_under_way() -> None:
    walk = checking()
    other = replace(SITE, cables=(), checks=("printer",), phone="01632 960101")
    walk.plan(replace(PLAN, site=other))
    assert walk.visit.site.checks == SITE.checks
    assert walk.visit.site.cables == SITE.cables
    assert walk.visit.site.phone == "01632 960101"


def test_what_nobody_tried_is_called_for_and_who_closes_it_vouches_for_it() -> None:
    walk = checking()
    walk.order("release", ONCALL)
    book = walk.context.book
    assert open_checks(walk.visit, book) == SITE.checks
    walk.advance(3 * 24 * 60)
    assert walk.visit.state == "watched"
    call = next(c for c in walk.visit.open_calls if c.cause == "site_check")
    assert call.seen == "the card reader, the desk telephone"
    walk.call_press("take", call=call.id)
    walk.call_press("close_fixed", call=call.id)
    assert open_checks(walk.visit, book) == ()


def test_only_cables_that_were_moved_go_back_the_last_one_first() -> None:
    walk = Walk(PLAN).to("registry.light")
    walk.register()
    walk.press("done")  # the till is moved; the kiosk is being moved
    walk.order("back_out", ONCALL, why="ordered")
    assert walk.visit.back.walking
    items = [s.item for s in steps(walk.context.book, walk.visit) if s.item]
    assert items == ["kiosk", "till"]


def test_no_cable_goes_back_where_none_was_moved_yet() -> None:
    walk = Walk(PLAN).to("registry.light")
    walk.order("back_out", ONCALL, why="ordered")
    assert walk.visit.back.walking
    assert not [s.item for s in steps(walk.context.book, walk.visit) if s.item]


def german(place: str) -> Walk:
    return Walk(replace(PLAN, contact=replace(PLAN.contact, lang="de"))).to(place)


@pytest.mark.parametrize(
    ("place", "words", "said"),
    [
        ("old_box.photo", "is this real?", "answer_genuine"),
        ("old_box.photo", "which one is the old box?", "answer_old_unit"),
        ("old_box.photo", "can I skip this", "answer_no_photo"),
        ("old_box.photo", "took a photo", "old_plug"),
        ("old_cables.tag", "we dont have a till", "answer_no_such_cable"),
        ("old_cables.tag", "there is no number", "answer_no_such_cable"),
        ("unplug_old.unplug", "unplugged", "ask_done"),
        ("unplug_old.unplug", "the fridge went off too", "wrong_cable_out"),
    ],
)
def test_what_people_say_at_the_old_box(place: str, words: str, said: str) -> None:
    walk = Walk(PLAN).to(place)
    walk.say(words)
    assert walk.last == said


@pytest.mark.parametrize(
    ("place", "words", "said"),
    [
        ("old_box.photo", "ist das Betrug?", "answer_genuine"),
        ("old_box.photo", "wer sind Sie", "answer_who"),
        ("old_box.plug", "klebt dran", "tag_cable"),
        ("old_cables.tag", "so ein Kabel gibts nicht", "answer_no_such_cable"),
        ("unplug_old.unplug", "der Kühlschrank ist auch aus", "wrong_cable_out"),
    ],
)
def test_what_people_say_at_the_old_box_in_german(place: str, words: str, said: str) -> None:
    walk = german(place)
    walk.say(words)
    assert walk.last == said


@pytest.mark.parametrize(
    "said",
    [
        "the phone is dead",
        "nö, das Telefon nicht",
        "everything works but not the phone",
        "we have no till",
        "wir haben keine Kasse",
        "card machine works and the phone works",
    ],
)
def test_words_about_another_thing_settle_nothing_of_this_one(said: str) -> None:
    walk = checking()
    walk.say(said)
    assert walk.asked() == "site_checks.check"
    assert walk.visit.course.found == ()
    assert open_checks(walk.visit, walk.context.book) == ("Kartenleser", "telephone")


@pytest.mark.parametrize(
    ("said", "found"),
    [
        ("the card machine does not work", "broken"),
        ("we do not have it", "absent"),
        ("we have no card reader", "absent"),
        ("haben wir nicht", "absent"),
        ("works", "works"),
        ("card reader works", "works"),
    ],
)
def test_words_about_the_thing_itself_settle_it(said: str, found: str) -> None:
    walk = checking()
    walk.say(said)
    assert walk.visit.course.found == (("Kartenleser", found),)


@pytest.mark.parametrize("item", ["lift phone", "Aufzugnotruf", "fire alarm"])
def test_what_calls_for_rescue_is_looked_at_and_never_tried(item: str) -> None:
    walk = Walk(replace(plan(), site=replace(SITE, checks=(item,)))).to("registry.light")
    walk.register()
    walk.to("site_checks.check")
    assert walk.last in ("check_lift", "check_alarm")
    walk.press("broken")
    assert walk.causes() == ["site_check"]  # nobody is asked to do anything about it first


def test_while_one_thing_is_called_for_another_that_works_is_no_cure() -> None:
    walk = failing()
    walk.say("the phone works now")
    assert walk.causes() == ["site_check"]
    walk.say("card machine works now")
    assert walk.causes() == []
