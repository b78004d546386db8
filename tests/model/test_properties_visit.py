"""Any order of any facts: what must hold of a visit whatever people, units and clocks do."""

from collections.abc import Callable
from unittest.mock import patch

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
)
from msgspec.structs import replace

from bot.model.calls import event as c
from bot.model.calls.state import CLEARED_BY_REGISTRATION, Call
from bot.model.fact import Actor
from bot.model.policy import MINUTE
from bot.model.progress import TYPES
from bot.model.visit import decide
from bot.model.visit.back import at_risk, latest
from bot.model.visit.back_state import BackedOut
from bot.model.visit.state import Plan
from tests.model.kit import (
    ADMIN,
    CONTACT,
    DEPUTY,
    LEAST,
    ONCALL,
    OTHER,
    SECOND,
    SECOND_UNIT,
    SERIAL,
    START,
    STRANGER,
    UNIT,
    Walk,
    Wrong,
    book,
    context,
    plan,
)

TEAM = {ONCALL.user, SECOND.user, ADMIN.user}
WORDS = (
    "yes",
    "no",
    "done",
    "ok",
    "green and blinking fast",
    "it is steady green now",
    "yellow, blinking slowly",
    "red light",
    "it works",
    "card machine works now",
    "not working",
    "no light at all",
    "white",
    "help",
    "stop",
    "give me 20 min",
    "give me 3 hours",
    "at 21:30",
    "pause please",
    "I turned it off and on again",
    "no signal here",
    "call me on 01632 960123",
    "01632 960123 at 20:15",
    "20:15",
    "thanks",
    "what is a socket?",
    "there is smoke coming out",
    "no smoke here",
    "any smoke?",
    "might be smoke",
    SERIAL,
    OTHER,
    "HML-0000ZZ",
    "4.2.0",
    "1.0",
    "plugged in, light's red, and is there a spare?",
    "no wait, that was the other light, it's red",
    "sorry, not plugged in yet",
    "it's all plugged in and the light is green already",
    "which cable?",
    "where are we?",
    "can I go home?",
    "auf Deutsch bitte",
    "in English please",
    "ich habe es angesteckt",
    "👍",
    "mumble mumble",
    "",
)
VERBS = (
    "take",
    "hand",
    "later",
    "third",
    "close",
    "close_fixed",
    "close_false_alarm",
    "close_rebook",
    "close_cleared",
    "nonsense",
)
ORDERS = (
    *("restart", "rebook", "close", "third_party", "ask", "nonsense"),
    *("take_over", "take_over", "hand_back", "catch_up"),
    *("back_out", "back_out", "go_on", "old_works", "release", "release"),
)
KINDS = (
    *("invite", "begin", "held", "link", "over", "undelivered", "nudge", "window", "unpause"),
    *("back_ask", "back_latest", "back_watch"),
    *("call:e1", "call:e2", "call:nothing", "watch:0", "watch:7", "alive:0", "nonsense", ""),
    *("soak", "checks"),
)
PEOPLE = st.sampled_from([CONTACT.user, CONTACT.user, DEPUTY.user, ONCALL, ADMIN, STRANGER])
CALLERS = st.sampled_from(
    [ONCALL, SECOND, ADMIN, STRANGER, Actor(CONTACT.user), Actor(DEPUTY.user)]
)
PLANS = (
    plan(),
    plan(start=START + 90 * MINUTE),
    plan(deputy=None),
    plan((UNIT, SECOND_UNIT)),
    plan((replace(UNIT, version=""), SECOND_UNIT), end=START + 70 * MINUTE),
    plan((replace(UNIT, version="1.0"),)),
    plan((replace(UNIT, model="HG-2"), SECOND_UNIT)),
    plan((SECOND_UNIT,)),
)
LISTED = replace(plan().site, cables=("till",), checks=("card reader", "telephone"))
WITH_CHECKS = replace(plan(), site=LISTED)


def _to(place: str, plan_: Plan, *then: str) -> Callable[[Walk], None]:
    def walk_there(walk: Walk) -> None:
        walk.plan(plan_)
        walk.to(place)
        for words in then:
            walk.say(words)

    return walk_there


def _silent(walk: Walk) -> None:
    _to("placing.place", plan(deputy=None))(walk)
    walk.advance(25)


def _taken(walk: Walk) -> None:
    _silent(walk)
    walk.call_press("take")


def _checking(walk: Walk) -> None:
    """The unit has registered and its cable is moved: what the site lives on is tried."""
    _to("registry.light", WITH_CHECKS)(walk)
    walk.register()
    walk.to("site_checks.check")


def _check_fails(walk: Walk) -> None:
    _checking(walk)
    walk.press("broken")
    walk.press("broken")


def _let_go(walk: Walk) -> None:
    """Nothing was tried yet, and the unit is watched."""
    _checking(walk)
    walk.order("release", ONCALL)
    assert walk.visit.state == "watched"


def _rebooked(walk: Walk) -> None:
    _to("registry.light", plan((UNIT, SECOND_UNIT)))(walk)
    walk.register()
    walk.order("rebook")


def _done(walk: Walk) -> None:
    _to("registry.light", plan())(walk)
    walk.register()
    walk.press("done")


def _held(walk: Walk) -> None:
    _to("placing.place", plan())(walk)
    walk.hold()


def _taken_over(walk: Walk) -> None:
    _to("cabling.cable", plan())(walk)
    walk.order("take_over", ONCALL)


def _walking_back(walk: Walk) -> None:
    _to("registry.light", plan((UNIT, SECOND_UNIT), end=START + 120 * MINUTE))(walk)
    walk.order("back_out", ADMIN)


STARTS: dict[str, Callable[[Walk], None]] = {
    "nothing": lambda _walk: None,
    "two units": _to("mobile_data.mobile", plan((replace(UNIT, version=""), SECOND_UNIT))),
    "labels": _to("inventory.serial", plan((replace(UNIT, version=""), SECOND_UNIT))),
    "loading": _to("loading.light", plan()),
    "time runs out": _to("loading.light", plan(end=START + 80 * MINUTE)),
    "walking back": _walking_back,
    "registry": _to("registry.light", plan((UNIT, SECOND_UNIT))),
    "fault": _to("loading.light", plan(), "red light"),
    "stopped": _to("loading.light", plan(), "smoke!"),
    "checking": _checking,
    "check fails": _check_fails,
    "let go": _let_go,
    "silent": _silent,
    "taken": _taken,
    "rebooked": _rebooked,
    "done": _done,
    "held": _held,
    "taken over": _taken_over,
}
#: What a contact may still be told after a danger stop.
_QUIET = {
    "root",
    "danger",
    "stopped_wait",
    "stopped_still",
    "person_coming",
    "nobody_yet_danger",
    "not_you",
    "rebook",
    "rebook_line_down",
}


class AnyOrder(RuleBasedStateMachine):
    """Facts in any order, on a site with one unit or two."""

    def __init__(self) -> None:
        super().__init__()
        limits = {"image": 20, "soak": 240, "heartbeat": 10}
        changed = {"limits": book().limits.model_copy(update=limits)}
        around = context(book=book().model_copy(update=changed))
        self.walk = Walk(auto=False, at=START - 4 * 24 * 60 * MINUTE, context=around)
        self.registered: dict[str, int] = {}
        self.past: tuple[BackedOut, ...] = ()
        self.seen = self.judged = 0
        self.was = ""

    @initialize(place=st.sampled_from(sorted(STARTS)))
    def somewhere(self, place: str) -> None:
        """Where a visit may stand; the rest is chance."""
        self.walk.auto = True
        STARTS[place](self.walk)
        self.walk.auto = False
        self.seen = len(self.walk.messages)

    # --- the world -----------------------------------------------------------------------

    @rule(which=st.sampled_from(PLANS))
    def planned(self, which: object) -> None:
        self.walk.plan(which)  # type: ignore[arg-type]

    @rule(minutes=st.sampled_from([0, 0.5, 1, 3, 7, 12, 25, 60, 240, 1500]))
    def time_passes(self, minutes: float) -> None:
        self.walk.advance(minutes)

    @rule()
    def next_deadline(self) -> None:
        if self.walk.deadlines:
            self.walk.until(max(self.walk.now, min(self.walk.deadlines.values())))

    @precondition(lambda self: self.walk.state is not None)
    @rule(kind=st.sampled_from(KINDS))
    def spurious_deadline(self, kind: str) -> None:
        before = self.walk.state
        early = self.walk.deadlines.get(kind, self.walk.now + 1) > self.walk.now
        self.walk.due(kind)
        if early and self.walk.state != before:
            raise Wrong(f"{kind} was not due and changed the visit")

    @rule(how_many=st.integers(1, 9))
    def some_arrive(self, how_many: int) -> None:
        pending, self.walk.pending = self.walk.pending, self.walk.pending[:how_many]
        self.walk.deliver()
        self.walk.pending += pending[how_many:]

    @rule()
    def all_arrive(self) -> None:
        self.walk.deliver()

    @precondition(lambda self: self.walk.pending)
    @rule()
    def one_cannot_be_delivered(self) -> None:
        self.walk.undeliverable(self.walk.pending.pop(0))

    @precondition(lambda self: self.walk.state is not None)
    @rule(minutes=st.sampled_from([0, 1, 10, 45]))
    def we_were_away(self, minutes: float) -> None:
        self.walk.gap(minutes)

    @precondition(lambda self: self.walk.state is not None)
    @rule(what=st.sampled_from(["held", "resumed", "else"]), really=st.booleans())
    def wave_tells(self, what: str, really: bool) -> None:
        if really:
            self.walk.context = replace(self.walk.context, held=what == "held")
        self.walk.tell(what)

    @precondition(lambda self: self.walk.state is not None)
    @rule(user=st.sampled_from([CONTACT.user, DEPUTY.user, "U0NOBODY"]), disabled=st.booleans())
    def account(self, user: str, disabled: bool) -> None:
        self.walk.account(user, disabled=disabled)

    # --- people --------------------------------------------------------------------------

    @precondition(lambda self: self.walk.state is not None)
    @rule(
        words=st.one_of(st.sampled_from(WORDS), st.text(max_size=30)),
        user=PEOPLE,
        place=st.sampled_from(["thread", "channel", "direct"]),
        edited=st.booleans(),
    )
    def somebody_says(self, words: str, user: Actor | str, place: str, edited: bool) -> None:
        self.walk.say(words, user, place=place, edited=edited)  # type: ignore[arg-type]

    @precondition(lambda self: self.walk.state is not None)
    @rule(data=st.data(), user=PEOPLE)
    def any_button(self, data: st.DataObject, user: Actor | str) -> None:
        shown = [b.action for m in self.walk.messages for b in m.buttons]
        action = data.draw(
            st.one_of(
                st.sampled_from(shown[-60:] or ["a:q1:done"]),
                st.sampled_from(["", "a", "a:q1:light:blue", "v:q2:nonsense", "e:e1:take"]),
                st.text(max_size=12),
            )
        )
        self.walk.press_action(action, user)

    @precondition(lambda self: self.walk.state is not None and self.walk.state.question)
    @rule(data=st.data())
    def good_answer(self, data: st.DataObject) -> None:
        """A button of the open question, so that the visit gets somewhere."""
        self.walk.deliver()
        question = self.walk.visit.question
        if question is None:
            return
        wanted = {"serial": "same", "light": "light:reaching", "choice": "lead_one"}
        values = {"consent": "yes", "begin": "here", "callback": "help", "version": ""} | wanted
        value = values.get(question.kind, "done")
        if question.kind == "check":
            value = data.draw(st.sampled_from(["works", "works", "broken", "absent"]))
        if question.ask == "over":
            value = "go_on"
        if "old_works" in question.answers:
            value = data.draw(st.sampled_from(["old_works", "old_fails"]))
        if question.kind == "version" or question.ask.startswith("serial_"):
            self.walk.say(LEAST if question.kind == "version" else question.unit)
        else:
            self.walk.press_action(f"a:{question.id}:{value}")

    @precondition(lambda self: self.walk.state is not None and self.walk.state.calls)
    @rule(data=st.data(), verb=st.sampled_from(VERBS), user=CALLERS)
    def press_in_call(self, data: st.DataObject, verb: str, user: Actor) -> None:
        call = data.draw(st.sampled_from([x.id for x in self.walk.visit.calls][-4:]))
        before = self.walk.visit.calls
        self.walk.press_action(f"e:{call}:{verb}", user)
        if user.user not in TEAM and self.walk.visit.calls != before:
            raise Wrong(f"{user.user} did {verb} to a call")

    @precondition(lambda self: self.walk.state is not None)
    @rule(
        order=st.sampled_from(ORDERS),
        by=CALLERS,
        args=st.sampled_from([{}, {"call": "e1"}, {"call": "e1", "minutes": "90", "ticket": "T1"}]),
    )
    def order(self, order: str, by: Actor, args: dict[str, str]) -> None:
        before = self.walk.state
        self.walk.order(order, by, **args)
        if by.user not in TEAM and self.walk.state != before:
            raise Wrong(f"{by.user} ordered {order}")

    @precondition(lambda self: self.walk.state is not None and self.walk.state.open_calls)
    @rule(verb=st.sampled_from(VERBS), user=st.sampled_from([ONCALL, ADMIN]))
    def take_and(self, verb: str, user: Actor) -> None:
        """Somebody takes the newest call and does something with it."""
        self.walk.call_press("take", user)
        if self.walk.visit.open_calls:
            self.walk.call_press(verb, user)

    # --- units ---------------------------------------------------------------------------

    @precondition(lambda self: self.walk.state is not None)
    @rule(
        serial=st.sampled_from([SERIAL, SERIAL, OTHER, "hml 4f7k2q", "HML-UNKNOWN"]),
        kind=st.sampled_from(["registered", "registered", "lost", "alive"]),
    )
    def registration(self, serial: str, kind: str) -> None:
        before = {x.id: x for x in self.walk.visit.calls}
        self.walk.register(serial, kind)
        for call in self.walk.visit.calls:
            _registration_clears_only_its_own(before.get(call.id), call)

    @precondition(lambda self: self.walk.state is not None)
    @rule(
        serial=st.sampled_from([SERIAL, SERIAL, OTHER, "HML-UNKNOWN"]),
        progress=st.sampled_from(sorted(TYPES)),
    )
    def progress(self, serial: str, progress: str) -> None:
        self.walk.report(progress, "as the unit says", serial)

    # --- what must hold ------------------------------------------------------------------

    @invariant()
    def a_live_visit_has_a_deadline(self) -> None:
        visit = self.walk.state
        if visit is None:
            return
        due = self.walk.deadlines
        assert due or not visit.live, f"live without a deadline: {visit}"
        for call in visit.open_calls:
            assert f"call:{call.id}" in due

    @invariant()
    def done_only_with_all_three(self) -> None:
        """Registered, checked and soaked, at the moment it is done."""
        visit, used = self.walk.state, self.walk.context.book
        if visit is None:
            return
        if visit.state == "done" and self.was != "done":
            assert all(unit.registered_at is not None for unit in visit.units)
            found = dict(visit.course.found)
            for item in visit.site.checks:
                good = found.get(item) in ("works", "absent") or item in visit.course.vouched
                assert good, f"done although {item} was not found to work"
            soak = (used.limits.soak or 0) * MINUTE
            for unit in visit.units:
                assert unit.lost_at is None
                assert self.walk.now >= (unit.back_at or unit.registered_at or 0) + soak
        self.was = visit.state

    @invariant()
    def somebody_is_always_asked_or_called(self) -> None:
        visit = self.walk.state
        if visit is None or visit.state != "running":
            return
        assert visit.blocked or visit.waits_hold or visit.question is not None
        asked = visit.danger_ask is not None  # of danger: that has a deadline of its own
        if visit.question is not None and visit.question.late and not asked:
            assert any(x.cleared_at is None for x in visit.open_calls)

    @invariant()
    def a_registration_is_never_taken_back(self) -> None:
        visit = self.walk.state
        if visit is None:
            return
        if visit.back.past != self.past:  # backed out and planned anew: the units were taken out
            self.past, self.registered = visit.back.past, {}
        now = {u.serial: u.registered_at for u in visit.units if u.registered_at is not None}
        for serial, at in self.registered.items():
            assert now.get(serial) == at, f"{serial} registered at {at} and now is {now}"
        self.registered |= now

    @invariant()
    def no_question_while_blocked(self) -> None:
        visit = self.walk.state
        if visit is not None and visit.blocked and visit.danger_ask is None:
            assert visit.question is None

    @invariant()
    def a_stop_is_a_danger_call(self) -> None:
        visit = self.walk.state
        if visit is not None:
            danger = any(x.cause == "danger" for x in visit.open_calls)
            assert (visit.stopped_at is not None) == danger

    @invariant()
    def windows_hold_checkpoints(self) -> None:
        visit = self.walk.state
        if visit is not None and visit.question is not None:
            assert visit.question.window >= visit.question.checkpoint

    @invariant()
    def new_messages_are_of_the_open_question(self) -> None:
        new, self.seen = self.walk.messages[self.seen :], len(self.walk.messages)
        visit = self.walk.state
        if visit is None:
            return
        stopped = visit.stopped_at is not None and visit.stopped_at < self.walk.now
        for message in new:
            if stopped and message.thread.startswith(("site:", f"user:{CONTACT.user}")):
                assert message.template in _QUIET, f"{message.template} after a danger stop"
                assert not message.buttons
            if stopped:
                assert message.thread != f"user:{DEPUTY.user}"

    @invariant()
    def calls_keep_their_rules(self) -> None:
        new, self.judged = self.walk.journal[self.judged :], len(self.walk.journal)
        for event, _ in new:
            if isinstance(event, c.Taken):
                assert event.by in TEAM
            if isinstance(event, c.Closed):
                assert event.by in TEAM or event.reason == "cleared before anyone was called"
        visit = self.walk.state
        for call in visit.calls if visit else ():
            assert not (call.severity == "critical" and call.operator == "shelved")
            if not call.open and call.cleared_at is None:
                assert call.reason in ("fixed", "false_alarm", "rebook", "restarted", "decided")

    @invariant()
    def no_site_is_without_its_line_unnoticed(self) -> None:
        """Something is due there, or somebody is called about it."""
        visit = self.walk.state
        if visit is not None and visit.link_down_at is not None:
            assert self.walk.deadlines

    @invariant()
    def nobody_passes_the_latest_time_without_a_decision_or_a_person(self) -> None:
        visit, around = self.walk.state, self.walk.context
        if visit is None or not at_risk(visit) or around.book.back_out is None:
            return
        last = latest(visit, around.book, around.book.back_out, around.policy)
        due = min(self.walk.deadlines.values())
        if self.walk.now <= last or due <= self.walk.now:  # what is due has not been acted on yet
            return
        called = any(c.cleared_at is None for c in visit.open_calls)
        assert visit.back.decided or called or visit.blocked

    def teardown(self) -> None:
        assert self.walk.replayed() == self.walk.state


def _registration_clears_only_its_own(before: Call | None, call: Call) -> None:
    if before is None or before.cause in CLEARED_BY_REGISTRATION:
        return
    assert call.cleared_at == before.cleared_at
    assert call.operator == before.operator


class WithoutNet(AnyOrder):
    """The same without the net under every decision: each rule must keep its own promises."""

    def __init__(self) -> None:
        super().__init__()
        self.net = patch.object(decide, "_keep_going", lambda _turn: None)
        self.net.start()

    def teardown(self) -> None:
        self.net.stop()
        super().teardown()


_SETTINGS = settings(
    max_examples=120,
    stateful_step_count=40,
    deadline=None,
    suppress_health_check=list(HealthCheck),
)
TestAnyOrder = AnyOrder.TestCase
TestAnyOrder.settings = _SETTINGS
TestWithoutNet = WithoutNet.TestCase
TestWithoutNet.settings = _SETTINGS
