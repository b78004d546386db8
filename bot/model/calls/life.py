"""The life of a call: raised, called out, climbing until it is taken, reminded until closed.

Written against a small protocol, so that a visit and a wave share it. Every open call has a
deadline (``due``) at every moment; :func:`on_due` says what happens when it comes.
"""

from bot.model.calls import event as e
from bot.model.calls import ways
from bot.model.calls.holder import Background, CallHolder, as_now
from bot.model.calls.state import AT_ONCE, Call, First, find
from bot.model.message import Button
from bot.model.policy import minutes
from bot.model.roster import Staff
from bot.model.runbook import Cause

__all__ = ["Background", "CallHolder", "as_now"]

#: Below the first rung: the next climb begins with everybody.
FROM_THE_START = -1


def raise_call(
    turn: CallHolder, cause: Cause, *, stage: str = "", unit: str = "", seen: str = ""
) -> Call:
    """Raise a call, unless the same condition is called for already: then that call is given.

    A call that was cleared and only waits to be closed is of an earlier condition.
    """
    for call in turn.calls:
        if call.open and call.cleared_at is None and call.cause == cause and call.unit == unit:
            return call
    before = turn.background()
    route = turn.context.book.route(cause)
    first: First = "admin" if route.first == "admin" else "oncall"
    call = Call(
        id=turn.next_id("e"),
        cause=cause,
        severity=route.severity,
        first=first,
        raised_at=turn.at,
        due=turn.at + turn.context.policy.gather,
        take_within=minutes(route.minutes),
        stage=stage,
        unit=unit,
        seen=seen,
        asked=before.asked,
        asked_at=before.asked_at,
        tried=before.tried,
    )
    turn.emit_call(e.Raised(call))
    if cause in AT_ONCE:
        call_out(turn, call, rung=0, rounds=0)
    return as_now(turn, call)


def call_out(
    turn: CallHolder, call: Call, *, rung: int, rounds: int, everybody: bool = False
) -> None:
    """Make the call to the person on ``rung``, or to all; the first time with the whole card."""
    first_time = call.called_at is None
    people = ladder(turn, call)
    person = people[rung] if rung < len(people) else None
    at_once = call.severity == "critical"
    due = turn.at + (call.take_within if at_once else ways.time_of(call, person, 0))
    last = len(person.ways) - 1 if person and person.ways and at_once else 0
    turn.emit_call(e.Called(call.id, person.user if person else "", rung, rounds, due, last))
    now = as_now(turn, call)
    anew = first_time or call.rung < 0 or everybody
    everyone = people if at_once and anew else people[rung : rung + 1]
    posted = turn.post_call(
        now,
        "call" if first_time else "call_again",
        root=first_time,
        buttons=(ways.take(call),),
        to_users=" ".join(p.user for p in everyone),
        climbed=rounds * max(1, len(people)) + rung,
    )
    for someone in everyone:
        if at_once:
            ways.reach_by_all(turn, as_now(turn, call), someone)
        else:
            ways.reach(turn, as_now(turn, call), someone, posted)


def ladder(turn: CallHolder, call: Call) -> list[Staff]:
    return turn.context.roster.ladder(call.first, turn.at)


def on_due(turn: CallHolder, call_id: str) -> None:
    """The call's own deadline came."""
    call = find(turn.calls, call_id)
    if call is None or not call.open or call.due > turn.at:
        return
    limits = turn.context.book.limits
    if call.cleared_at is not None:
        due = turn.at + turn.context.policy.close_reminder
        turn.emit_call(e.Reminded(call.id, due))
        turn.post_call(as_now(turn, call), "call_please_close", buttons=taken_buttons(call))
    elif call.offered_to:
        turn.emit_call(e.OfferLapsed(call.id, turn.at + minutes(limits.taken_without_progress)))
        turn.post_call(
            as_now(turn, call), "call_offer_lapsed", to_users=call.taken_by, who=_name(turn, call)
        )
    elif call.operator == "none" and (other := in_hand(turn, call)) is not None:
        _to_who_has_it(turn, call, other)
    elif call.called_at is None:
        call_out(turn, call, rung=0, rounds=0)
    elif call.operator == "shelved":
        call_out(turn, call, rung=call.rung, rounds=call.rounds)
    elif not ways.next_way(turn, call):  # nobody took it, or nothing came of it
        climb(turn, call)


def in_hand(turn: CallHolder, call: Call) -> Call | None:
    """The call by which somebody is at it already: theirs, or with a third party; not put off.

    Only for a site without service: what is wrong there is what that other call is about.
    """
    if call.cause != "without_service":
        return None
    kept = [
        c
        for c in turn.calls
        if c.id != call.id
        and c.cleared_at is None
        and (c.operator == "ack" or (c.operator == "shelved" and c.third_party))
        and c.due > turn.at
        and turn.context.roster.find(c.taken_by) is not None
    ]
    return max(kept, key=lambda c: (c.third_party, c.due), default=None)


def _to_who_has_it(turn: CallHolder, call: Call, other: Call) -> None:
    """Call only the person who is at it. When their time is over it goes to everybody."""
    first_time = call.called_at is None
    turn.emit_call(e.Called(call.id, other.taken_by, FROM_THE_START, call.rounds, other.due))
    now = as_now(turn, call)
    turn.post_call(
        now,
        "call" if first_time else "call_again",
        root=first_time,
        buttons=(ways.take(call),),
        to_users=other.taken_by,
        climbed=0,
    )
    someone = turn.context.roster.find(other.taken_by)
    if someone is not None:
        ways.reach_by_all(turn, now, someone)


def no_longer_in_hand(turn: CallHolder) -> None:
    """A call was closed: what waited for who had it waits no longer than any other."""
    for call in turn.calls:
        waits = call.open and call.operator == "none" and call.rung == FROM_THE_START
        soon = turn.at + call.take_within
        if waits and call.cleared_at is None and call.due > soon and in_hand(turn, call) is None:
            turn.emit_call(e.Delayed(call.id, soon))


def climb(turn: CallHolder, call: Call) -> None:
    """Go to the next person; after the last, begin again and say that nobody answers."""
    people = ladder(turn, call)
    rung, rounds = call.rung + 1, call.rounds
    if rung >= len(people):
        rung, rounds = 0, rounds + 1
    call_out(turn, call, rung=rung, rounds=rounds)
    if rounds > call.rounds and rounds == 1:
        turn.on_unanswered(as_now(turn, call))


def clear(turn: CallHolder, call: Call, by: e.ClearedBy) -> None:
    """The condition is over. Before anyone was called the call closes by itself."""
    if not call.open or call.cleared_at is not None:
        return
    due = turn.at + turn.context.policy.close_reminder
    ways.over(turn, call)
    turn.emit_call(e.Cleared(call.id, by, due))
    if call.called_at is None:
        turn.emit_call(e.Closed(call.id, "", "cleared before anyone was called"))
        return
    turn.post_call(
        as_now(turn, call),
        f"call_cleared_{by}",
        buttons=(Button(f"e:{call.id}:close", "b_close", "primary"),),
        sign=turn.at,
    )


def _name(turn: CallHolder, call: Call) -> str:
    return turn.context.roster.name(call.taken_by)


def taken_buttons(call: Call) -> tuple[Button, ...]:
    more = [
        Button(f"e:{call.id}:close", "b_close", "primary"),
        Button(f"e:{call.id}:hand", "b_hand_on"),
    ]
    if call.severity != "critical":
        more.append(Button(f"e:{call.id}:later", "b_put_off"))
    if call.cause == "leaving":
        more.append(Button(f"g:{call.id}:let_go", "b_let_go"))
    if call.cause == "dead_line" and call.severity != "critical":
        more.append(Button(f"e:{call.id}:third", "b_third_party"))
    return tuple(more)
