"""What comes before, beside and after the evening keeps still while danger is not cleared up."""

from bot.model.handover import line_may_go
from bot.model.policy import MINUTE
from tests.model import ready_kit, test_visit_back_out, test_visit_handing, test_visit_morning
from tests.model.kit import ADMIN, ONCALL, SECOND_UNIT, START, UNIT, Walk, book, context, plan

SMOKE = "there is smoke coming out of the box"
DENIED = "no smoke here"


def lines(walk: Walk) -> list[str]:
    """Templates said to the team about the site."""
    return [m.template for m in walk.messages if m.thread.startswith("team:")]


def test_the_morning_is_not_asked_about_again_in_danger() -> None:
    walk = test_visit_morning.asked()
    walk.say(SMOKE)
    walk.advance(4 * 60)
    assert walk.visit.stopped_at is not None
    assert "morning_again" not in walk.said
    walk.order("restart", ONCALL)
    walk.advance(24 * 60)
    assert walk.last == "morning_again"


def test_a_button_of_the_morning_says_nothing_of_danger() -> None:
    walk = test_visit_morning.asked()
    walk.say(SMOKE)
    walk.press("all_works")
    assert walk.visit.morning.answer == ""
    assert walk.last == "stopped_wait"


def test_a_button_of_the_morning_is_no_answer_about_danger() -> None:
    walk = test_visit_morning.asked()
    walk.say(DENIED)
    assert walk.visit.danger_ask is not None
    walk.press("all_works")
    assert walk.last == "ask_danger"
    assert walk.visit.morning.answer == ""


def test_in_danger_nobody_is_told_to_lock_up_because_they_have_to_go() -> None:
    walk = test_visit_handing.at()
    walk.say("I have to go now")
    walk.say(SMOKE)
    walk.advance(60)
    assert "leaving" in walk.causes()
    assert "handing_overdue" not in walk.said


def test_a_site_is_not_put_off_while_danger_is_asked_about() -> None:
    walk = ready_kit.agreed()
    walk.until(walk.deadlines["ready_put_off"] - 2 * MINUTE)
    walk.say(DENIED)
    walk.advance(4)
    assert walk.visit.state == "agreed"
    assert walk.visit.danger_ask is not None
    walk.advance(4)
    assert "help" in walk.causes()


def test_nobody_is_let_go_while_danger_is_asked_about() -> None:
    walk = test_visit_back_out.cut()
    walk.say(DENIED)
    assert walk.order("release", ONCALL) == "nothing"
    assert walk.visit.state == "running"


def test_nobody_is_let_go_halfway_back() -> None:
    walk = test_visit_back_out.cut()
    walk.order("back_out", ONCALL)
    walk.press("done")
    assert walk.order("release", ONCALL) == "nothing"
    assert walk.asked() == "back_cable.cable"


def test_a_decision_of_the_team_is_no_answer_about_danger() -> None:
    walk = test_visit_back_out.cut(end=START + 85 * MINUTE)
    walk.until(walk.deadlines["back_ask"])
    walk.say(DENIED)
    assert walk.visit.danger_ask is not None
    actions = [b.action for m in walk.messages for b in m.buttons]
    back_out = next(a for a in reversed(actions) if a.endswith(":back_out"))
    before = len(walk.said)
    assert walk.press_action(back_out, ONCALL) == "stopped"
    assert len(walk.said) == before
    assert walk.visit.danger_ask is not None


def test_the_morning_after_a_site_was_backed_out_it_is_asked() -> None:
    walk = test_visit_back_out.cut()
    walk.order("back_out", ONCALL)
    test_visit_back_out.walked(walk)
    walk.until(walk.deadlines["morning"])
    assert walk.last == "morning_back"


def test_what_is_missing_anew_is_told_to_the_team() -> None:
    walk = ready_kit.agreed()
    walk.until(walk.deadlines["ready_team"])
    assert lines(walk) == ["readiness_line"]
    ready_kit.settle(walk, "carton", "label", "line", "registry", "contact", "deputy")
    walk.until(START - 30 * MINUTE)
    walk.order("ready", ADMIN, item="line", value="no")
    walk.until(START + MINUTE)
    assert walk.visit.state == "rebook"
    assert lines(walk) == ["readiness_line", "readiness_stops"]


def test_nobody_on_call_after_all_is_told_to_the_team() -> None:
    walk = ready_kit.agreed()
    walk.until(walk.deadlines["ready_team"])
    ready_kit.settle(walk, "carton", "label", "line", "registry", "contact", "deputy")
    walk.context = context(book=ready_kit.ready_book(), roster=context().roster.__class__())
    walk.until(START + MINUTE)
    assert walk.visit.state == "rebook"
    assert lines(walk)[-1] == "readiness_stops"


def test_a_box_unplugged_on_the_way_back_is_not_online_when_it_goes_on_after_all() -> None:
    walk = test_visit_back_out.cut()
    walk.register()
    walk.order("back_out", ONCALL)
    walk.press("done")
    walk.order("go_on", ONCALL)
    assert walk.visit.link_down_at is not None
    assert "lost" in walk.causes()
    walk.register()
    assert walk.visit.link_down_at is None
    assert test_visit_back_out.lasting(walk) == []


def test_a_line_that_is_cut_anew_is_asked_about_anew() -> None:
    walk = test_visit_back_out.cut(units=(UNIT, SECOND_UNIT))
    test_visit_back_out.talked_until(walk, test_visit_back_out.LATEST + MINUTE)
    assert walk.visit.back.late
    walk.register()
    assert not {"back_ask", "back_latest"} & set(walk.deadlines)
    walk.call_press("take", call=walk.visit.calls[0].id)
    walk.call_press("close_fixed", call=walk.visit.calls[0].id)
    for _ in range(20):
        if walk.visit.link_down_at is not None:
            break
        ask = walk.visit.question.ask
        walk.press({"over": "go_on", "serial": "same", "lead": "lead_one"}.get(ask, "done"))
    assert walk.visit.link_down_at is not None
    walk.advance(1)
    assert walk.visit.back.latest is not None
    assert walk.visit.back.latest >= walk.now


def driven_off() -> Walk:
    """A mobile branch whose contact drives, in the middle of the evening."""
    walk = Walk(plan(vehicle=True)).agree()
    walk.until(START)
    walk.press("parked")
    walk.to("loading.light")
    walk.say("I am driving home now")
    assert walk.visit.care.driving_since is not None
    return walk


def test_who_drove_home_is_asked_in_the_morning() -> None:
    walk = driven_off()
    assert walk.order("release", ONCALL) == "ok"
    assert walk.last == "loading"  # nothing is said to a driver
    walk.register()
    walk.until(walk.deadlines["morning"])
    assert walk.last == "morning_released"


def test_who_drove_when_it_was_put_off_hears_of_it_and_nothing_is_asked() -> None:
    walk = Walk(plan(vehicle=True)).agree()
    walk.until(START)
    walk.press("parked")
    walk.say("I am driving now")
    walk.order("rebook", ADMIN)
    assert walk.last == "begin"
    walk.say("I am parked now")
    assert walk.last == "rebook"
    assert walk.visit.question is None


def test_the_old_line_stays_while_anything_is_called_for() -> None:
    walk = test_visit_morning.asked()
    walk.press("all_works")
    assert line_may_go(walk.visit, book(), walk.now)
    walk.say("help please")
    assert walk.causes()
    assert not line_may_go(walk.visit, book(), walk.now)


def test_a_mobile_branch_whose_unit_is_early_is_asked_first_whether_it_is_parked() -> None:
    walk = Walk(plan(vehicle=True)).agree()
    walk.advance(60)
    walk.register()
    assert walk.last == "parked"
    walk.press("parked")
    assert walk.visit.question is not None
    assert walk.last == walk.visit.question.text
