"""What a light means where the visit stands: wait, go on, check a cable, call."""

from bot.model.calls.life import raise_call
from bot.model.policy import MINUTE, minutes
from bot.model.runbook import Seen
from bot.model.visit import event as e
from bot.model.visit.asks import ask_own
from bot.model.visit.steps import current
from bot.model.visit.turn import Turn
from bot.model.visit.walk import close_question, enter, go_on

_SHORTEST_WAIT = 3 * MINUTE


def saw(turn: Turn, pattern: str) -> None:
    """The contact sees ``pattern``; it is one of the runbook's."""
    stage = current(turn.visit, turn.context.book).stage
    seen = stage.lights.get(pattern)
    turn.emit(e.LightSeen(pattern))
    if seen is None:  # a light where none was asked for: note it, say what is needed now
        turn.say("light_not_now")
        return
    match seen.do:
        case "wait":
            _wait(turn, seen.say or "light_wait")
        case "next":
            close_question(turn, pattern)
            go_on(turn)
        case "success":
            _success(turn)
        case "check_cable":
            _check(turn, seen, pattern, "reseat")
        case "check_power":
            _check(turn, seen, pattern, "power_check")
        case "call":
            _call(turn, seen, pattern)


def _wait(turn: Turn, template: str) -> None:
    """As it should be: tell when we ask again, which is never later than the window."""
    question = turn.visit.question
    if question is None:
        return
    wanted = turn.at + max(_SHORTEST_WAIT, question.checkpoint // 2)
    last = question.last
    until = wanted if last is None else max(turn.at, min(wanted, last))
    turn.emit(e.CheckpointMoved(until))
    turn.say(template, until=until, key="wait")


def _success(turn: Turn) -> None:
    """A success colour. Too early it is asked again; alone it never closes the last stage."""
    stage = current(turn.visit, turn.context.book).stage
    since = turn.visit.powered_at
    if since is not None and turn.at - since < minutes(stage.shortest):
        _wait(turn, "light_too_early")
        return
    if stage.waits_for_registration:
        _wait(turn, "light_success_wait")
        return
    close_question(turn, "success")
    enter(turn, turn.visit.step + 1, text="registry_after_success")


def _check(turn: Turn, seen: Seen, pattern: str, ask: str) -> None:
    """First the cable (or the lead); the second time a person."""
    close_question(turn, pattern, done=False)
    if turn.visit.cable_checks:
        _call(turn, seen, pattern)
        return
    turn.emit(e.CableChecked())
    ask_own(turn, ask, "confirm", checkpoint=5, window=15)


def _call(turn: Turn, seen: Seen, pattern: str) -> None:
    step = current(turn.visit, turn.context.book)
    raise_call(turn, seen.cause, stage=step.stage.id, unit=step.unit, seen=pattern)
    turn.say(f"called_{seen.cause}" if seen.cause in ("fault", "dead_line") else "called")
