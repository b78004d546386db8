"""Danger and the wish to stop. A stop is never undone but by a person of the team."""

from bot.model.calls.life import raise_call
from bot.model.fact import Said
from bot.model.message import ESCALATION
from bot.model.visit import event as e
from bot.model.visit.steps import current
from bot.model.visit.turn import Turn


def danger(turn: Turn, rule: str) -> None:
    """Stop the visit, call everyone, hold the wave's new starts.

    The fixed safety answer was sent by the handler before this decision, where the words
    fell; if that was not the visit's own thread, it is said there as well.
    """
    turn.answer = "danger"
    already = turn.visit.stopped_at is not None
    turn.emit(e.Stopped(rule))
    fact = turn.fact
    elsewhere = not (isinstance(fact, Said) and fact.place == "thread")
    if elsewhere:
        turn.say("danger", urgency=ESCALATION)
    call = raise_call(
        turn, "danger", stage=current(turn.visit, turn.context.book).stage.id, seen=rule
    )
    if already:
        turn.post_call(call, "call_danger_again")
    else:
        turn.tell_wave("danger")


def site_stops(turn: Turn) -> None:
    """The contact says the site must stop; nothing is wrong, but nothing more happens."""
    step = current(turn.visit, turn.context.book)
    raise_call(turn, "stop", stage=step.stage.id, unit=step.unit)
    turn.say("stop_noted")


def restart(turn: Turn, by: str) -> None:
    """A person of the team has spoken to the site and lets the visit go on."""
    turn.emit(e.Restarted(by))
