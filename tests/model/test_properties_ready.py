"""Any order of facts before an evening: no site with a gap begins but by a person's name."""

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from msgspec.structs import replace

from bot.model.policy import MINUTE
from bot.model.roster import Roster
from bot.model.visit import event as e
from bot.model.visit.ready_events import StartAnyway
from bot.model.visit.ready_gaps import gaps
from bot.model.visit.state import Visit
from tests.model.kit import (
    ADMIN,
    CONTACT,
    DEPUTY,
    ONCALL,
    ROSTER,
    SECOND_UNIT,
    SERIAL,
    START,
    STRANGER,
    UNIT,
    Walk,
    Wrong,
    plan,
)
from tests.model.ready_kit import DAY, listed, walk

ITEMS = ("carton", "label", "line", "registry", "contact", "deputy", "consent", "oncall", "roof")
PLANS = (
    plan(),
    plan((UNIT, SECOND_UNIT)),
    plan(deputy=None),
    plan((replace(UNIT, version="1.0"),)),
    listed("carton", "label", "line", "registry", "contact", "deputy"),
    listed("carton", "label", "line", "contact", "deputy", start=START + 2 * DAY * MINUTE),
)
WORDS = (
    *("yes", "no", "done", "it is here and looks fine", "it is damaged", "no carton has arrived"),
    *(SERIAL, "HML-0000ZZ", "yes, both", "07700 900123", "another day please", "later please"),
    *("there is smoke coming out", "no smoke here", "help", "thanks", "no wait, I meant no", ""),
)
VERBS = ("go", "date", "deputy_yes", "deputy_no", "nonsense")
PRESSES = (
    *("yes", "no", "other_time", "carton_fine", "carton_damaged", "carton_not_here", "same"),
    *("different", "contact_yes", "contact_number", "contact_no", "here", "later", "help"),
)
PEOPLE = st.sampled_from([CONTACT.user, CONTACT.user, DEPUTY.user, ONCALL, ADMIN, STRANGER])
TEAM = st.sampled_from([ONCALL, ADMIN, STRANGER])


class Watched(Walk):
    """Looks at what held at the moment at which the evening began."""

    def _take(self, fact: object, decision: object) -> None:
        before = self.state
        super()._take(fact, decision)  # type: ignore[arg-type]
        began = any(
            isinstance(ev, e.StateSet) and ev.state == "running"
            for ev in decision.events  # type: ignore[attr-defined]
        )
        if began and before is not None:
            self._judge(before, decision.events)  # type: ignore[attr-defined]

    def _judge(self, before: Visit, events: tuple[object, ...]) -> None:
        if before.stopped_at is not None or before.state == "held":
            raise Wrong(f"it began though it was {before.state}")
        at_start = replace(before, state="agreed")
        oncall = self.context.roster.staffed(before.start)
        missing = [gap.item for gap in gaps(at_start, self.context.book, oncall)]
        named = before.ready.anyway or any(isinstance(ev, StartAnyway) for ev in events)
        if missing and not named:
            raise Wrong(f"it began without {missing}")


class BeforeTheEvening(RuleBasedStateMachine):
    """Facts in any order, from five days before the start on."""

    @initialize(which=st.sampled_from(PLANS), asked=st.booleans())
    def planned_first(self, which: object, asked: bool) -> None:
        made = walk()
        self.walk = Watched(None, at=made.now, context=made.context)
        self.walk.plan(which)  # type: ignore[arg-type]
        if asked and "invite" in self.walk.deadlines:
            self.walk.until(self.walk.deadlines["invite"])
            self.walk.press("yes")

    @rule(which=st.sampled_from(PLANS))
    def planned(self, which: object) -> None:
        self.walk.plan(which)  # type: ignore[arg-type]

    @rule(minutes=st.sampled_from([1, 20, 90, 600, 1500, 3000]))
    def time_passes(self, minutes: float) -> None:
        self.walk.advance(minutes)

    @rule()
    def next_deadline(self) -> None:
        if self.walk.deadlines:
            self.walk.until(max(self.walk.now, min(self.walk.deadlines.values())))

    @rule(words=st.sampled_from(WORDS), who=PEOPLE)
    def somebody_says(self, words: str, who: object) -> None:
        self.walk.say(words, who)  # type: ignore[arg-type]

    @rule(value=st.sampled_from(PRESSES), who=PEOPLE)
    def somebody_presses(self, value: str, who: object) -> None:
        question = self.walk.visit.question
        if question is not None:
            self.walk.press_action(f"a:{question.id}:{value}", who)  # type: ignore[arg-type]

    @rule(verb=st.sampled_from(VERBS), who=PEOPLE, old=st.booleans())
    def a_button_of_readiness(self, verb: str, who: object, old: bool) -> None:
        start = START - 1 if old else self.walk.visit.start
        self.walk.press_action(f"r:{start}:{verb}", who)  # type: ignore[arg-type]

    @rule(item=st.sampled_from(ITEMS), value=st.sampled_from(["yes", "yes", "no", "?"]), who=TEAM)
    def the_team_settles(self, item: str, value: str, who: object) -> None:
        self.walk.order("ready", who, item=item, value=value)  # type: ignore[arg-type]

    @rule(
        order=st.sampled_from(["rebook", "start_anyway", "restart", "take_over", "hand_back"]),
        who=TEAM,
    )
    def ordered(self, order: str, who: object) -> None:
        self.walk.order(order, who)  # type: ignore[arg-type]

    @rule(when=st.sampled_from(["2026-10-22 18:00", "2026-10-25 01:30", "soon"]), who=TEAM)
    def another_date(self, when: str, who: object) -> None:
        self.walk.order("new_date", who, when=when)  # type: ignore[arg-type]

    @precondition(lambda self: self.walk.visit.open_calls)
    @rule(verb=st.sampled_from(["take", "close", "close_fixed", "close_rebook"]), who=TEAM)
    def a_call(self, verb: str, who: object) -> None:
        self.walk.call_press(verb, who)  # type: ignore[arg-type]

    @rule(held=st.booleans())
    def the_wave(self, held: bool) -> None:
        self.walk.hold() if held else self.walk.resume()

    @rule(staffed=st.booleans())
    def the_roster(self, staffed: bool) -> None:
        roster = ROSTER if staffed else Roster(())
        self.walk.context = replace(self.walk.context, roster=roster)

    @invariant()
    def replayed_it_is_the_same(self) -> None:
        if hasattr(self, "walk"):
            assert self.walk.replayed() == self.walk.state

    @invariant()
    def it_is_waited_for(self) -> None:
        """A visit that somebody has still to do with is never without a deadline."""
        if hasattr(self, "walk") and self.walk.visit.live:
            visit = self.walk.visit
            assert self.walk.deadlines or visit.state == "held" or visit.blocked


BeforeTheEvening.TestCase.settings = settings(
    max_examples=40, stateful_step_count=25, deadline=None
)
TestBeforeTheEvening = BeforeTheEvening.TestCase
