"""A call was closed by a person: what becomes of the visit."""

from bot.model.calls.state import Call
from bot.model.visit import event as e
from bot.model.visit.asks import rearm
from bot.model.visit.steps import after_registration
from bot.model.visit.turn import Turn
from bot.model.visit.walk import enter, go_on


def settled(turn: Turn, call: Call, reason: str, by: str) -> None:
    """Go on where the visit stood, or rebook; danger needs the person who closes it to say so."""
    visit = turn.visit
    if reason == "rebook":
        if visit.stopped_at is not None:
            turn.emit(e.Restarted(by))
        if visit.state not in ("done", "rebook"):
            turn.emit(e.StateSet("rebook", "closed with another evening"))
            if visit.thread:
                turn.say("rebook")
        return
    if call.cause == "danger" and visit.stopped_at is not None:
        turn.emit(e.Restarted(by))
    rearm(turn)
    if turn.visit.waits_hold:
        turn.emit(e.HoldMet())  # still held: the next reminder counts from now
    if turn.visit.question is not None or turn.visit.blocked or turn.visit.waits_hold:
        return
    unit = visit.unit(call.unit)
    if unit is not None and unit.registered_at is not None and visit.state == "running":
        target = after_registration(turn.visit, turn.context.book, unit.serial)
        if turn.visit.step < target:
            enter(turn, target, forced=True)
            return
    if visit.state == "running" and call.cause not in ("not_started", "lost"):
        turn.say("going_on")
        go_on(turn)
