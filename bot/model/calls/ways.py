"""By which way a person is called: each in their order, and after its time the next.

The call itself always stands in the team's channel. A person without ways of their own has that
and a mail with it, at once.
"""

from bot.model.calls import event as e
from bot.model.calls.holder import CallHolder, as_now
from bot.model.calls.state import Call
from bot.model.message import Button
from bot.model.policy import MINUTE
from bot.model.roster import Staff


def take(call: Call) -> Button:
    return Button(f"e:{call.id}:take", "b_take", "primary")


def time_of(call: Call, person: Staff | None, way: int) -> int:
    """How long (ms) a way has; where nothing is set, the ways share the time of the call."""
    if person is None or not person.ways:
        return call.take_within
    wait = person.ways[way].wait
    return wait if wait is not None else max(MINUTE, call.take_within // len(person.ways))


def reach(turn: CallHolder, call: Call, person: Staff, posted: str) -> None:
    """The first way of the person called; ``posted`` is the card in the channel."""
    if person.ways:
        _try(turn, call, person, 0, posted)
    elif person.mail:
        turn.mail_call(call, person, "call_mail")


def reach_by_all(turn: CallHolder, call: Call, person: Staff) -> None:
    """All ways at once: it is critical, or theirs already."""
    if not person.ways and person.mail:
        turn.mail_call(call, person, "call_mail")
    for number, way in enumerate(person.ways):
        _send(turn, call, person, number)
        if way.kind == "webhook":  # none of them is waited for, so none is named as sent
            hook = f"{way.target}:{person.user}"
            turn.emit_call(e.WayTried(call.id, call.way, "", call.due, hook))


def next_way(turn: CallHolder, call: Call) -> bool:
    """Try the next way of the person called; whether there is one."""
    person = turn.context.roster.find(call.to)
    if call.operator != "none" or call.called_at is None or person is None or call.rung < 0:
        return False
    if call.way + 1 >= len(person.ways):
        return False
    _try(turn, call, person, call.way + 1, "")
    return True


def way_failed(turn: CallHolder, message: str) -> None:
    """A way cannot be used: the next at once; after the last, the next person in a minute."""
    for call in turn.calls:
        if (
            not call.sent
            or call.sent != message
            or call.operator != "none"
            or call.cleared_at is not None
        ):
            continue
        soon = turn.at + MINUTE  # at once, those who cannot be reached would be called in a circle
        if not next_way(turn, call) and call.due > soon:
            turn.emit_call(e.Delayed(call.id, soon))


def over(turn: CallHolder, call: Call) -> None:
    """Whoever rings somebody for it may stop; what still waits to be sent is not sent."""
    for hook in call.hooks:
        target, _, user = hook.partition(":")
        person = turn.context.roster.find(user)
        if person is not None:
            turn.hook_call(call, person, target, "call_over_hook")


def _try(turn: CallHolder, call: Call, person: Staff, number: int, posted: str) -> None:
    way = person.ways[number]
    due = turn.at + time_of(call, person, number)
    message = posted if posted and way.kind == "chat" else _send(turn, call, person, number)
    hook = f"{way.target}:{person.user}" if way.kind == "webhook" else ""
    turn.emit_call(e.WayTried(call.id, number, message, due, hook))


def _send(turn: CallHolder, call: Call, person: Staff, number: int) -> str:
    way = person.ways[number]
    call = as_now(turn, call)
    if way.kind == "mail":
        return turn.mail_call(call, person, "call_mail_link")
    if way.kind == "webhook":
        return turn.hook_call(call, person, way.target, "call_hook")
    if number == 0:
        return ""  # the card has just been posted
    return turn.post_call(
        call, "call_again", buttons=(take(call),), to_users=person.user, climbed=number
    )
