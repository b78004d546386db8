"""What the team's people do with a call: take it, hand it on, put it off, close it."""

from typing import Protocol

from bot.model.calls import event as e
from bot.model.calls import ways
from bot.model.calls.life import (
    CallHolder,
    as_now,
    call_out,
    ladder,
    no_longer_in_hand,
    taken_buttons,
)
from bot.model.calls.state import Call, find
from bot.model.fact import Actor
from bot.model.message import Button
from bot.model.policy import MINUTE, minutes

#: Why a call that is not cleared may be closed; each is a button and a text.
REASONS = ("fixed", "false_alarm", "rebook")
PUT_OFF = 30 * MINUTE
THIRD_PARTY = 240 * MINUTE


class PressHolder(CallHolder, Protocol):
    def on_taken(self, call: Call, name: str) -> None:
        """Somebody has it: the contact is told who."""

    def on_put_off(self, call: Call, name: str, until: int) -> None:
        """Put off, or with a third party: the contact is told by when they hear more."""

    def on_closed(self, call: Call, reason: str, by: str) -> None:
        """Settled by a person: the walk-through may go on, or the site is rebooked."""


def pressed_call(turn: CallHolder, actor: Actor, call_id: str) -> Call | str:
    """The open call whose button somebody of the team pressed; else the answer that refuses it."""
    call = find(turn.calls, call_id)
    if call is None:
        return "stale"
    if not call.open:
        return "call_over"
    return call if actor.oncall or actor.admin else "not_yours"


def press(turn: PressHolder, actor: Actor, call_id: str, verb: str) -> str:
    """Do ``verb`` to a call; gives the answer for the one who pressed (see ``Decision``)."""
    call = pressed_call(turn, actor, call_id)
    if isinstance(call, str):
        return call
    if verb == "take":
        return _take(turn, actor, call)
    if call.taken_by != actor.user and not actor.admin:
        return "not_taker"
    if verb == "close":
        return _ask_why(turn, actor, call)
    if verb.startswith("close_"):
        return _close(turn, actor, call, verb.removeprefix("close_"))
    act = {"hand": _hand, "later": _later, "third": third_party}.get(verb)
    if act is None:
        return "stale"
    if call.operator not in ("ack", "shelved"):  # nobody has it: it must go on climbing
        return "not_taker"
    return act(turn, actor, call)


def _take(turn: PressHolder, actor: Actor, call: Call) -> str:
    if call.operator == "ack" and call.offered_to != actor.user:
        return "taken" if call.taken_by != actor.user else "repeat"
    if call.called_at is None:  # taken from a list before it was called out
        call_out(turn, call, rung=0, rounds=0)
    due = turn.at + minutes(turn.context.book.limits.taken_without_progress)
    ways.over(turn, as_now(turn, call))
    turn.emit_call(e.Taken(call.id, actor.user, due))
    call = as_now(turn, call)
    name = _name(turn, actor.user)
    turn.post_call(call, "call_taken", buttons=taken_buttons(call), who=name)
    turn.say_privately(actor.user, "call_private", call)
    turn.on_taken(call, name)
    return "ok"


def _hand(turn: PressHolder, actor: Actor, call: Call) -> str:
    others = [s for s in ladder(turn, call) if s.user != actor.user]
    if not others:
        return "nobody_else"
    after = [s for s in ladder(turn, call)[call.rung + 1 :] if s.user != actor.user]
    to = (after or others)[0]
    turn.emit_call(e.Offered(call.id, to.user, turn.at + call.take_within))
    turn.post_call(
        as_now(turn, call),
        "call_offered",
        buttons=(Button(f"e:{call.id}:take", "b_take", "primary"),),
        to_users=to.user,
        who=_name(turn, actor.user),
    )
    return "ok"


def _later(turn: PressHolder, actor: Actor, call: Call) -> str:
    if call.severity == "critical":
        return "not_critical"
    longest = minutes(turn.context.book.limits.put_off_at_most)
    until = turn.at + min(PUT_OFF, longest)
    if until > call.raised_at + longest:
        return "put_off_enough"
    turn.emit_call(e.PutOff(call.id, until))
    turn.post_call(as_now(turn, call), "call_put_off", until=until, who=_name(turn, actor.user))
    turn.on_put_off(as_now(turn, call), _name(turn, actor.user), until)
    return "ok"


def third_party(
    turn: PressHolder, actor: Actor, call: Call, *, wait: int = THIRD_PARTY, ticket: str = ""
) -> str:
    """A dead line is with the carrier, for ``wait`` ms: until then nobody is called about it."""
    if call.severity == "critical":
        return "not_critical"
    if call.cause != "dead_line":
        return "stale"
    until = turn.at + max(MINUTE, wait)
    if until > call.raised_at + minutes(turn.context.book.limits.third_party_at_most):
        return "put_off_enough"
    turn.emit_call(e.PutOff(call.id, until, third_party=True, ticket=ticket))
    turn.post_call(as_now(turn, call), "call_third_party", until=until, who=_name(turn, actor.user))
    turn.on_put_off(as_now(turn, call), _name(turn, actor.user), until)
    return "ok"


def _ask_why(turn: PressHolder, actor: Actor, call: Call) -> str:
    if call.cleared_at is not None:
        return _close(turn, actor, call, "cleared")
    buttons = tuple(Button(f"e:{call.id}:close_{r}", f"b_close_{r}") for r in REASONS)
    turn.post_call(call, "call_why", buttons=buttons)
    return "ok"


def _close(turn: PressHolder, actor: Actor, call: Call, reason: str) -> str:
    over = call.cleared_at is not None
    if reason not in REASONS and not (over and reason == "cleared"):
        return "needs_reason"
    watched = call.cleared_at is None and reason != "rebook" and bool(call.unit)
    ways.over(turn, call)
    turn.emit_call(e.Closed(call.id, actor.user, reason))
    turn.post_call(
        as_now(turn, call),
        "call_closed_watched" if watched else "call_closed",
        who=_name(turn, actor.user),
        reason=f"@x:reason_{reason}",
    )
    no_longer_in_hand(turn)
    turn.on_closed(as_now(turn, call), reason, actor.user)
    return "ok"


def _name(turn: CallHolder, user: str) -> str:
    return turn.context.roster.name(user)
