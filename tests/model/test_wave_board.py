"""Where a wave stands, counted from its visits; and each visit's share in the counters."""

from bot.model.board import board, late_by, state_of
from bot.model.policy import MINUTE
from bot.model.visit.tally import difference, tally
from tests.model.kit import ADMIN, SECOND_UNIT, START, UNIT, Walk, book, plan


def test_counts_by_state() -> None:
    fresh = Walk(plan())
    running = Walk(plan((UNIT, SECOND_UNIT))).to("registry.light")
    running.register()
    stopped = Walk(plan()).to("loading.light")
    stopped.say("smoke!")
    helped = Walk(plan()).to("placing.place")
    helped.say("help")
    held = Walk(plan()).to("placing.place")
    held.hold()
    walks = (fresh, running, stopped, helped, held)
    found = board([w.visit for w in walks], START + 60 * MINUTE, book())
    assert found.states == {
        "planned": 1,
        "running": 1,
        "stopped": 1,
        "waiting": 1,
        "with a person": 1,
    }
    assert (found.units, found.online, found.registered, found.stopped) == (6, 1, 1, 1)
    assert found.escalated == 2  # units of the two sites for which somebody was called
    assert found.out_of_service == 1  # the stopped one; the registration brought the other back
    assert len(found.curve) == 1
    assert [c.cause for c in found.calls] == ["help", "danger"]


def test_a_unit_lost_again_stays_in_the_curve_and_is_not_online() -> None:
    walk = Walk(plan()).to("registry.light")
    walk.register()
    walk.register(kind="lost")
    found = board([walk.visit], walk.now, book())
    assert (found.online, found.registered, len(found.curve)) == (0, 1, 1)


def test_who_is_late_and_by_how_much() -> None:
    walk = Walk(plan()).to("placing.place")
    assert late_by(walk.visit, walk.now) == 0
    walk.advance(12)
    assert late_by(walk.visit, walk.now) == 5 * MINUTE  # the checkpoint is at 7
    found = board([walk.visit], walk.now, book())
    assert [(x.site, x.stage, x.by) for x in found.late] == [("brook", "placing", 5 * MINUTE)]


def test_a_checkpoint_the_contact_moved_makes_nobody_late() -> None:
    walk = Walk(plan()).to("placing.place")
    walk.say("give me 15 min")
    walk.advance(12)
    assert late_by(walk.visit, walk.now) == 0


def test_the_counters_follow_the_visit_and_add_up() -> None:
    walk = Walk(plan())
    total: dict[str, int] = {}
    before: dict[str, int] = {}
    for place in ("begin.begin", "placing.place", "registry.light"):
        walk.to(place)
        now = tally(walk.visit)
        for name, change in difference(before, now).items():
            total[name] = total.get(name, 0) + change
        before = now
    assert {k: v for k, v in total.items() if v} == tally(walk.visit)
    assert tally(walk.visit)["visits:running"] == 1


def test_a_rebooked_visit_is_counted_as_such() -> None:
    walk = Walk(plan()).to("placing.place")
    walk.order("rebook", ADMIN)
    assert state_of(walk.visit) == "rebook"
