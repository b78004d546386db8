"""Any order of any facts: what must hold of a wave and its calls."""

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule
from msgspec.structs import replace

from bot.model.calls import event as c
from bot.model.fact import Actor
from bot.model.visit.state import Visit
from bot.model.wave.state import WavePlan
from tests.model.kit import ADMIN, CONTACT, ONCALL, SECOND, SERIAL, STRANGER, Walk, Wrong, plan
from tests.model.kit_wave import OPENS, WAVE_PLAN, WaveWalk

TEAM = {ONCALL.user, SECOND.user, ADMIN.user}
PEOPLE = st.sampled_from([ONCALL, SECOND, ADMIN, ADMIN, STRANGER, Actor(CONTACT.user)])
VERBS = ("take", "hand", "later", "third", "close", "close_fixed", "close_cleared", "nonsense")


def _visits() -> list[Visit]:
    fresh = Walk(plan())
    done = Walk(plan()).to("registry.light")
    done.register(SERIAL)
    done.press("done")
    stuck = Walk(plan(deputy=None)).to("loading.light")
    stuck.advance(60)
    stopped = Walk(plan()).to("loading.light")
    stopped.say("smoke!")
    return [fresh.visit, done.visit, stuck.visit, stopped.visit]


VISITS = _visits()


class AnyOrder(RuleBasedStateMachine):
    """Facts in any order, whatever the visits look like."""

    def __init__(self) -> None:
        super().__init__()
        self.walk = WaveWalk(plan=None)

    @rule(opens=st.sampled_from([OPENS, OPENS + 7_200_000, 0]), staged=st.sampled_from(["", "s1"]))
    def planned(self, opens: int, staged: str) -> None:
        self.walk.plan(WavePlan(("C1", "C2"), opens, staged, 4))

    @rule(minutes=st.sampled_from([0, 0.5, 1, 5, 15, 60, 240]))
    def time_passes(self, minutes: float) -> None:
        self.walk.advance(minutes)

    @rule(which=st.lists(st.sampled_from(VISITS), max_size=5))
    def visits_move(self, which: list[Visit]) -> None:
        self.walk.visits = which

    @rule(may_open=st.booleans())
    def people_change(self, may_open: bool) -> None:
        self.walk.context = replace(self.walk.context, may_open=may_open)

    @rule(
        what=st.sampled_from(
            ["danger", "without_service", "unanswered", "online", "lost", "done", "nonsense"]
        )
    )
    def visit_tells(self, what: str) -> None:
        self.walk.tell(what)
        if what in ("danger", "without_service", "unanswered") and self.walk.state is not None:
            assert self.walk.wave.held

    @rule(
        order=st.sampled_from(["hold", "resume", "close", "nonsense"]),
        by=PEOPLE,
        args=st.sampled_from([{}, {"why": "the lorry is late"}]),
    )
    def ordered(self, order: str, by: Actor, args: dict[str, str]) -> None:
        before = self.walk.state
        self.walk.order(order, by, **args)
        if not by.admin and self.walk.state != before:
            raise Wrong(f"{by.user} ordered {order}")

    @rule(words=st.sampled_from(["smoke!", "hello", "is there smoke?", "no smoke", ""]), by=PEOPLE)
    def somebody_says(self, words: str, by: Actor) -> None:
        self.walk.say(words, by)

    @precondition(lambda self: self.walk.state is not None and self.walk.state.calls)
    @rule(verb=st.sampled_from(VERBS), by=PEOPLE, data=st.data())
    def press(self, verb: str, by: Actor, data: st.DataObject) -> None:
        before = self.walk.wave.calls
        call = data.draw(st.sampled_from([x.id for x in before]))
        self.walk.press_action(f"e:{call}:{verb}", by)
        if by.user not in TEAM and self.walk.wave.calls != before:
            raise Wrong(f"{by.user} did {verb}")

    @rule(action=st.one_of(st.text(max_size=9), st.just("a:q1:done")), by=PEOPLE)
    def any_button(self, action: str, by: Actor) -> None:
        self.walk.press_action(action, by)

    @rule(minutes=st.sampled_from([1, 45]))
    def we_were_away(self, minutes: float) -> None:
        self.walk.gap(minutes)

    @rule()
    def a_fact_of_another_kind(self) -> None:
        before = self.walk.state
        self.walk.register()
        assert self.walk.state == before

    @rule(kind=st.sampled_from(["open", "pin", "call:e1", "call:e9", "nonsense", ""]))
    def spurious_deadline(self, kind: str) -> None:
        before = self.walk.state
        early = self.walk.deadlines.get(kind, self.walk.now + 1) > self.walk.now
        self.walk.due(kind)
        if early and self.walk.state != before:
            raise Wrong(f"{kind} was not due and changed the wave")

    # --- what must hold ------------------------------------------------------------------

    @invariant()
    def what_lives_has_a_deadline(self) -> None:
        wave = self.walk.state
        if wave is None:
            return
        due = self.walk.deadlines
        if wave.state == "planned":
            assert "open" in due
        if wave.state == "open":
            assert "pin" in due
        for call in wave.calls:
            assert (f"call:{call.id}" in due) == call.open

    @invariant()
    def the_store_knows_of_every_hold(self) -> None:
        if self.walk.state is not None:
            assert bool(self.walk.held) == self.walk.wave.held

    @invariant()
    def visits_hear_of_hold_and_resume_in_turn(self) -> None:
        told = [t for t in self.walk.told if t in ("held", "resumed")]
        assert told == ["held", "resumed"] * (len(told) // 2) + ["held"] * (len(told) % 2)

    @invariant()
    def revisions_of_the_pin_rise(self) -> None:
        revs = [m.rev for m in self.walk.pins if m.thread == "wave:0"]
        assert revs == sorted(set(revs))

    @invariant()
    def calls_keep_their_rules(self) -> None:
        for event, _ in self.walk.journal:
            if isinstance(event, c.Taken | c.Closed):
                assert event.by in TEAM
        for call in self.walk.state.calls if self.walk.state else ():
            assert call.operator != "shelved"  # danger is critical, and never put off
            assert call.open or call.reason in ("fixed", "false_alarm", "rebook")

    def teardown(self) -> None:
        assert self.walk.replayed() == self.walk.state


class Opened(AnyOrder):
    """The same, from an open wave."""

    def __init__(self) -> None:
        super().__init__()
        self.walk.plan(WAVE_PLAN)
        self.walk.advance(61)


_SETTINGS = settings(
    max_examples=60,
    stateful_step_count=30,
    deadline=None,
    suppress_health_check=list(HealthCheck),
)
TestAnyOrder = AnyOrder.TestCase
TestAnyOrder.settings = _SETTINGS
TestOpened = Opened.TestCase
TestOpened.settings = _SETTINGS
