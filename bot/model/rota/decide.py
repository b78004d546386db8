"""The rota decides: at the start of a shift each way is tried, and what is not confirmed is told.

A test asks for one press. Opening a link is none; whose press it must be stands in the test.
"""

from typing import Any

from bot.model.context import Context
from bot.model.decision import Decision
from bot.model.fact import AnyFact, Due, Pressed, Told, Undeliverable
from bot.model.message import ESCALATION, Button, Message
from bot.model.roster import Staff, Way
from bot.model.rota import state as r
from bot.model.rota.shifts import Shift, next_start, shift_at
from bot.model.rota.state import Rota, RotaEvent, ShiftTest, evolve


class RotaTurn:
    """One decision of the rota being made."""

    def __init__(self, rota: Rota | None, fact: AnyFact, context: Context) -> None:
        self.rota = rota or Rota()
        self.fact, self.context, self.at = fact, context, fact.received_at
        self.events: list[RotaEvent] = []
        self.messages: list[Message] = []
        self.answer = "ok"

    def emit(self, event: RotaEvent) -> None:
        self.rota = evolve(self.rota, event, self.at)
        self.events.append(event)

    def send(self, **fields: Any) -> str:
        number = len(self.messages) + 1
        message_id = f"{self.fact.subject}:{self.context.version + 1}:{number}"
        self.messages.append(Message(id=message_id, made_at=self.at, **fields))
        return message_id


def decide(rota: Rota | None, fact: AnyFact, context: Context) -> Decision[Rota] | None:
    turn = RotaTurn(rota, fact, context)
    match fact:
        case Told() if fact.what == "roster":
            _look(turn)
        case Due():
            _due(turn, fact)
        case Pressed():
            turn.answer = _pressed(turn, fact)
        case Undeliverable():
            _undeliverable(turn, fact)
        case _:
            turn.answer = "nothing"
    if rota is None and not turn.events:
        return None
    return Decision(turn.rota, tuple(turn.events), tuple(turn.messages), turn.answer)


def deadlines(rota: Rota) -> dict[str, int]:
    due = {f"test:{s.user}": s.due for s in rota.shifts if s.due is not None}
    if rota.next_at is not None:
        due["shift"] = rota.next_at
    return due


def _due(turn: RotaTurn, fact: Due) -> None:
    at = deadlines(turn.rota).get(fact.kind)
    if at is None or at > turn.at:
        turn.answer = "nothing"
    elif fact.kind == "shift":
        _look(turn)
    else:
        _not_confirmed(turn, fact.kind.partition(":")[2])


def _look(turn: RotaTurn) -> None:
    """Begin the test of everybody whose shift covers now and has not been begun."""
    roster, policy = turn.context.roster, turn.context.policy
    with_ways = {s.user for s in roster.staff if s.ways}
    gone = tuple(s.user for s in turn.rota.shifts if s.user not in with_ways)
    turn.emit(r.Looked(next_start(roster, turn.at, policy), gone))
    for staff in roster.staff:
        shift = shift_at(staff, turn.at, policy) if staff.ways else None
        known = turn.rota.of(staff.user)
        if shift is not None and (known is None or _another(known, shift, staff)):
            _begin(turn, staff, shift)


def _another(known: ShiftTest, shift: Shift, staff: Staff) -> bool:
    """Another shift than the one that was tested, or with other ways."""
    same_ways = tuple(w.way for w in known.ways) == tuple(w.name for w in staff.ways)
    return (known.since, known.until) != shift or not same_ways


def _begin(turn: RotaTurn, staff: Staff, shift: Shift) -> None:
    ways = tuple(way.name for way in staff.ways)
    test, due = f"t{turn.rota.made + 1}", turn.at + turn.context.policy.test_remind
    turn.emit(r.ShiftBegan(staff.user, test, shift.since, shift.until, ways, due))
    _ask(turn, staff, test)


def _ask(turn: RotaTurn, staff: Staff, test: str) -> None:
    """The test, by each way that is not confirmed, in their order."""
    shift = turn.rota.of(staff.user)
    left = {w.way for w in shift.open} if shift is not None else set()
    for way in staff.ways:
        if way.name in left and shift is not None:
            message = _send(turn, staff, way, test, shift.until)
            turn.emit(r.WayAsked(staff.user, way.name, message))


def _send(turn: RotaTurn, staff: Staff, way: Way, test: str, until: int) -> str:
    fields: dict[str, Any] = {
        "buttons": (Button(f"r:{test}:{way.name}", "b_way_works", "primary"),),
        "args": {"who": staff.name, "way": way.shown, "until": str(until)},
        "tz": staff.tz,
        "key": "test",
        "not_after": until,
    }
    match way.kind:
        case "chat":
            return turn.send(thread=f"user:{staff.user}", template="way_test", **fields)
        case "mail":
            place = {"way": "mail", "thread": f"mail:{staff.mail}", "template": "way_test_mail"}
        case _:
            thread = f"hook:{way.target}:{staff.user}:test"
            place = {"way": "webhook", "thread": thread, "template": "way_test_hook"}
    return turn.send(to=staff.user, **place, **fields)


def _pressed(turn: RotaTurn, fact: Pressed) -> str:
    """It reaches them: so says their own press, of the test of this shift."""
    _, test, way = fact.action.split(":", 2)
    shift = next((s for s in turn.rota.shifts if s.test == test), None)
    found = next((w for w in shift.ways if w.way == way), None) if shift is not None else None
    if shift is None or found is None or turn.at >= shift.until:
        return "stale"
    if fact.actor.user != shift.user:
        return "not_yours"
    if found.state == "confirmed":
        return "repeat"
    turn.emit(r.WayConfirmed(shift.user, way))
    if way == "chat":
        staff = turn.context.roster.find(shift.user)
        turn.send(
            thread=f"user:{shift.user}",
            template="way_confirmed",
            args={"until": str(shift.until)},
            tz=staff.tz if staff is not None else "UTC",
        )
    return "ok"


def _undeliverable(turn: RotaTurn, fact: Undeliverable) -> None:
    for shift in turn.rota.shifts:
        for way in shift.open:
            if way.message == fact.message:
                turn.emit(r.WayFailed(shift.user, way.way, fact.why))
                return
    turn.answer = "nothing"


def _not_confirmed(turn: RotaTurn, user: str) -> None:
    """Once more by what is not confirmed; then those who come next are told."""
    shift, staff = turn.rota.of(user), turn.context.roster.find(user)
    if shift is None or staff is None or turn.at >= shift.until:
        turn.emit(r.TimeOver(user))
        return
    if not shift.reminded:
        turn.emit(r.AskedAgain(user, turn.at + turn.context.policy.test_over))
        _ask(turn, staff, shift.test)
        return
    turn.emit(r.TimeOver(user))
    shown = {way.name: way.shown for way in staff.ways}
    confirmed = shift.confirmed(turn.at)
    others = [s for s in turn.context.roster.ladder("oncall", turn.at) if s.user != user]
    turn.send(
        thread=f"team:rota:{user}",
        template="way_untested" if confirmed else "way_none_tested",
        urgency=ESCALATION,
        args={
            "who": staff.name,
            "ways": ", ".join(shown.get(w.way, w.way) for w in shift.open),
            "to_users": " ".join(s.user for s in others) or staff.user,
            "until": str(shift.until),
        },
        tz=staff.tz,
    )
