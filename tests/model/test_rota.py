"""Ways of reaching people, tested at the start of each turn, and who counts as reachable."""

from datetime import UTC, datetime, time
from typing import Any

import pytest
from msgspec.structs import replace

from bot.model.context import Context
from bot.model.fact import Actor, AnyFact, Due, Pressed, Told, Undeliverable
from bot.model.message import Message
from bot.model.policy import MINUTE, Policy
from bot.model.roster import Roster, Staff, Turn, Way
from bot.model.rota.decide import deadlines, decide
from bot.model.rota.shifts import next_start, shift_at
from bot.model.rota.state import Rota, evolve
from bot.model.rota.tested import confirmed_ways, reachable
from bot.model.subject import ROTA
from bot.speak.catalogue import standard
from tests.model.kit import ADMIN, ONCALL, SECOND, Wrong, context

LONDON = "Europe/London"
EVERY_DAY = frozenset(range(7))
WAYS = (Way("chat"), Way("webhook", "phone"), Way("mail"))
NIGHT = Turn(EVERY_DAY, time(18), time(6), LONDON)
IDA = Staff(
    ONCALL.user, "Ida Fenn", frozenset({"oncall"}), (NIGHT,), "ida@example.org", 0, WAYS, LONDON
)
OLOF = Staff(SECOND.user, "Olof Marsh", frozenset({"oncall"}), (NIGHT,), rank=1)
ANN = Staff(ADMIN.user, "Ann Reed", frozenset({"admin"}), rank=2)
EVENING = int(datetime(2026, 3, 12, 18, tzinfo=UTC).timestamp() * 1000)


class RotaWalk:
    """The rota walked by hand; every decision replayed, every message said."""

    def __init__(self, *staff: Staff, at: int = EVENING - 60 * MINUTE) -> None:
        self.context: Context = context(roster=Roster(staff or (IDA, OLOF, ANN)))
        self.now, self.version, self.number = at, 0, 0
        self.state: Rota | None = None
        self.messages: list[Message] = []
        self.told()

    def told(self) -> str:
        return self.bring(Told(source=ROTA, what="roster", **self._base()))

    def press(self, way: str, by: Actor = ONCALL, test: str = "") -> str:
        name = test or self.rota.shifts[-1].test
        return self.bring(Pressed(actor=by, action=f"r:{name}:{way}", **self._base()))

    def dead(self, message: Message) -> str:
        fields: Any = {"message": message.id, "template": message.template, "why": "gone"}
        return self.bring(Undeliverable(thread=message.thread, **fields, **self._base()))

    def _base(self) -> dict[str, Any]:
        self.number += 1
        return {"id": f"f{self.number}", "subject": ROTA, "received_at": self.now}

    @property
    def rota(self) -> Rota:
        assert self.state is not None
        return self.state

    def bring(self, fact: AnyFact) -> str:
        ctx = replace(self.context, version=self.version)
        decision = decide(self.state, fact, ctx)
        if decision is None:
            return "none"
        state: Any = self.state
        for event in decision.events:
            state = evolve(state, event, fact.received_at)  # type: ignore[arg-type]
        if state != decision.after and decision.events:
            raise Wrong("replaying gives another rota")
        self.state = decision.after
        self.version += bool(decision.events or decision.messages)
        self.messages += decision.messages
        for message in decision.messages:
            self.text(message)
        return decision.answer

    def text(self, message: Message) -> str:
        args = dict(message.args) | {"press": "https://desk.example.org/p/x"}
        return standard().texts("en").say(message.template, args, message.tz)

    def advance(self, minutes: float) -> None:
        until = self.now + round(minutes * MINUTE)
        while True:
            due = deadlines(self.rota)
            kind = min(due, key=lambda k: (due[k], k), default="")
            if not kind or due[kind] > until:
                self.now = until
                return
            self.now = max(self.now, due[kind])
            self.bring(Due(kind=kind, version=self.version, **self._base()))

    def sent(self, since: int = 0) -> list[tuple[str, str]]:
        return [(m.way, m.template) for m in self.messages[since:]]

    def reachable(self, *, chat_alone: bool = False) -> bool:
        return reachable(self.state, self.context.roster, self.now, chat_alone=chat_alone)


def test_nothing_is_sent_before_the_turn_and_each_way_is_tried_at_its_start_in_order() -> None:
    walk = RotaWalk()
    assert walk.messages == []
    assert deadlines(walk.rota) == {"shift": EVENING}
    walk.advance(60)
    assert walk.sent() == [
        ("chat", "way_test"),
        ("webhook", "way_test_hook"),
        ("mail", "way_test_mail"),
    ]
    assert [m.thread for m in walk.messages] == [
        f"user:{ONCALL.user}",
        f"hook:phone:{ONCALL.user}:test",
        "mail:ida@example.org",
    ]
    assert not walk.reachable(chat_alone=True)


def test_a_press_confirms_one_way_until_the_end_of_the_turn() -> None:
    walk = RotaWalk()
    walk.advance(60)
    assert walk.press("webhook:phone") == "ok"
    assert confirmed_ways(walk.rota, ONCALL.user, walk.now) == ("webhook:phone",)
    assert walk.press("webhook:phone") == "repeat"
    assert walk.reachable()
    walk.advance(12 * 60 - 1)
    assert walk.reachable()
    walk.advance(1)
    assert not walk.reachable()


def test_nobody_confirms_for_another_and_an_older_test_confirms_nothing() -> None:
    walk = RotaWalk()
    walk.advance(60)
    old = walk.rota.shifts[0].test
    assert walk.press("mail", by=SECOND) == "not_yours"
    assert walk.press("fax") == "stale"
    walk.advance(24 * 60)
    assert walk.press("mail", test=old) == "stale"
    assert not walk.reachable()
    assert walk.press("mail") == "ok"


def test_chat_alone_wakes_nobody_unless_it_is_allowed() -> None:
    walk = RotaWalk()
    walk.advance(60)
    walk.press("chat")
    assert walk.sent()[-1] == ("chat", "way_confirmed")
    assert not walk.reachable()
    assert walk.reachable(chat_alone=True)


def test_what_is_not_confirmed_is_sent_once_more_and_then_the_next_are_told() -> None:
    walk = RotaWalk()
    walk.advance(60)
    walk.press("chat")
    before = len(walk.messages)
    walk.advance(5)
    assert walk.sent(before) == [("webhook", "way_test_hook"), ("mail", "way_test_mail")]
    before = len(walk.messages)
    walk.advance(10)
    (told,) = walk.messages[before:]
    assert (told.template, told.thread) == ("way_untested", f"team:rota:{ONCALL.user}")
    assert told.args["to_users"] == f"{SECOND.user} {ADMIN.user}"
    assert told.args["ways"] == "phone, mail"
    walk.advance(60)
    assert len(walk.messages) == before + 1
    assert walk.press("mail") == "ok"  # late, and still it reaches them
    assert walk.reachable()


def test_who_confirms_nothing_at_all_is_told_as_such() -> None:
    walk = RotaWalk()
    walk.advance(60 + 15)
    assert walk.sent()[-1] == ("chat", "way_none_tested")
    assert "Ida Fenn has confirmed no way" in walk.text(walk.messages[-1])


def test_all_confirmed_leaves_nothing_to_be_looked_at() -> None:
    walk = RotaWalk()
    walk.advance(60)
    for way in WAYS:
        walk.press(way.name)
    assert set(deadlines(walk.rota)) == {"shift"}
    count = len(walk.messages)
    walk.advance(120)
    assert len(walk.messages) == count


def test_a_way_that_fails_is_on_record_and_tried_once_more() -> None:
    walk = RotaWalk()
    walk.advance(60)
    hook = next(m for m in walk.messages if m.way == "webhook")
    walk.dead(hook)
    assert [w.state for w in walk.rota.shifts[0].ways] == ["asked", "failed", "asked"]
    before = len(walk.messages)
    walk.advance(5)
    assert ("webhook", "way_test_hook") in walk.sent(before)


def test_a_start_in_the_middle_of_a_turn_tests_at_once_and_only_once() -> None:
    walk = RotaWalk(at=EVENING + 90 * MINUTE)
    assert len(walk.messages) == 3
    walk.told()
    assert len(walk.messages) == 3
    changed = replace(IDA, ways=WAYS[:2])
    walk.context = replace(walk.context, roster=Roster((changed, OLOF, ANN)))
    walk.told()
    assert len(walk.messages) == 5  # other ways are another test


def test_who_is_no_longer_in_the_roster_is_forgotten() -> None:
    walk = RotaWalk(at=EVENING + MINUTE)
    walk.press("mail")
    walk.context = replace(walk.context, roster=Roster((OLOF, ANN)))
    walk.told()
    assert walk.rota.shifts == ()
    assert not walk.reachable()
    assert deadlines(walk.rota) == {}


def test_who_is_always_on_is_tested_each_day_at_the_time_of_the_policy() -> None:
    always = replace(IDA, turns=())
    nine = EVENING - 9 * 60 * MINUTE
    found = shift_at(always, EVENING, Policy())
    assert found == (nine, nine + 24 * 60 * MINUTE)
    assert next_start(Roster((always,)), EVENING, Policy()) == nine + 24 * 60 * MINUTE


@pytest.mark.parametrize(
    ("day", "hours"),
    [((2026, 3, 28), 11), ((2026, 10, 24), 13), ((2026, 3, 12), 12)],
)
def test_a_night_turn_is_as_long_as_the_clocks_make_it(
    day: tuple[int, int, int], hours: int
) -> None:
    """The dates of the changes are those of the IANA database (Europe/London)."""
    year, month, number = day
    late = int(datetime(year, month, number, 22, 30, tzinfo=UTC).timestamp() * 1000)
    found = shift_at(IDA, late, Policy())
    assert found is not None
    assert found.until - found.since == hours * 60 * MINUTE


def test_over_midnight_the_turn_is_that_of_the_day_before() -> None:
    thursday = replace(NIGHT, days=frozenset({3}))
    ida = replace(IDA, turns=(thursday,))
    assert shift_at(ida, EVENING + 7 * 60 * MINUTE, Policy()) == (
        EVENING,
        EVENING + 12 * 60 * MINUTE,
    )
    assert shift_at(ida, EVENING + 13 * 60 * MINUTE, Policy()) is None
    assert next_start(Roster((ida,)), EVENING, Policy()) == EVENING + 7 * 24 * 60 * MINUTE


def test_a_short_turn_inside_a_long_one_ends_nothing_that_was_confirmed_for_the_long_one() -> None:
    inside = Turn(EVERY_DAY, time(20), time(22), LONDON)
    longer = Turn(EVERY_DAY, time(23), time(8), LONDON)
    walk = RotaWalk(replace(IDA, turns=(NIGHT, inside, longer)), OLOF, ANN)
    walk.advance(60)
    walk.press("mail")
    walk.advance(5 * 60 - 1)  # 22:59: the turn inside is over, the night goes on
    assert walk.rota.made == 1
    assert walk.reachable()
    walk.advance(1)  # one that ends later is a shift of its own
    assert not walk.reachable()
    walk.press("mail")
    walk.advance(9 * 60 - 1)
    assert walk.reachable()
    walk.advance(1)
    assert not walk.reachable()
