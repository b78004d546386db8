"""What the team orders for one site, by command or button; rights are checked here."""

from bot.model.calls import event as c
from bot.model.calls.press import press
from bot.model.calls.state import Call
from bot.model.fact import Ordered
from bot.model.visit.answers import rebook
from bot.model.visit.safety import restart
from bot.model.visit.turn import Turn
from bot.model.visit.walk import go_on

ORDERS = ("restart", "rebook", "close", "ask")


def ordered(turn: Turn, fact: Ordered) -> None:
    actor = fact.actor
    if not (actor.oncall or actor.admin):
        turn.answer = "not_yours"
        return
    match fact.order:
        case "restart":
            restart_visit(turn, actor.user)
        case "rebook":
            rebook(turn, fact.args.get("reason", "ordered"))
        case "close":
            turn.answer = press(turn, actor, fact.args.get("call", ""), "close")
        case "ask":
            go_on(turn)
        case _:
            turn.answer = "unknown"


def restart_visit(turn: Turn, by: str) -> None:
    """The site is safe, a person says: close the danger call and go on where it stood."""
    if turn.visit.stopped_at is None:
        turn.answer = "nothing"
        return
    restart(turn, by)
    for call in turn.visit.open_calls:
        if call.cause == "danger":
            turn.emit_call(c.Closed(call.id, by, "restarted"))
            turn.post_call(_closed(turn, call), "call_restarted", who=_name(turn, by))
    turn.say("restarted")
    go_on(turn)


def _closed(turn: Turn, call: Call) -> Call:
    found = turn.visit.call(call.id)
    assert found is not None
    return found


def _name(turn: Turn, user: str) -> str:
    staff = turn.context.roster.find(user)
    return staff.name if staff else user
