"""More time, a pause, another evening: what fits in the window is given, the rest is offered."""

from bot.model.message import Button
from bot.model.policy import MINUTE
from bot.model.visit import event as e
from bot.model.visit.state import Question
from bot.model.visit.turn import Turn


def later(turn: Turn, wanted: int) -> None:
    """The contact will be ready at the instant ``wanted``; moves the checkpoint if it fits."""
    question = turn.visit.question
    if question is None:
        turn.say("nothing_open")
        return
    last = question.last
    if last is None:
        last = turn.at + question.window
    if wanted <= last:
        turn.emit(e.CheckpointMoved(max(turn.at, wanted)))
        turn.say("later_ok", until=max(turn.at, wanted), key="prompt")
        return
    turn.emit(e.Reported())
    turn.say("later_too_long", latest=last, buttons=_too_long(question), key="prompt")


def _too_long(question: Question) -> tuple[Button, ...]:
    return (
        Button(f"v:{question.id}:latest", "b_latest", "primary"),
        Button(f"v:{question.id}:help", "b_help"),
        Button(f"v:{question.id}:other_evening", "b_other_evening"),
    )


def latest(turn: Turn) -> None:
    """As late as the window allows."""
    question = turn.visit.question
    if question is None or question.last is None:
        turn.say("nothing_open")
        return
    turn.emit(e.CheckpointMoved(question.last))
    turn.say("later_ok", until=question.last, key="prompt")


def pause(turn: Turn) -> None:
    """Stand still for a while; silence still becomes a call at the window."""
    question = turn.visit.question
    if question is None:
        turn.say("nothing_open")
        return
    until = turn.at + turn.context.policy.pause
    if question.last is not None:
        until = max(turn.at + MINUTE, min(until, question.last))
    turn.emit(e.Paused(until))
    turn.say("paused", until=until, buttons=(Button(f"v:{question.id}:unpause", "b_unpause"),))


def unpause(turn: Turn) -> None:
    if turn.visit.paused_until is None:
        return
    turn.emit(e.Unpaused())
    question = turn.visit.question
    if question is None:
        return
    turn.emit(e.CheckpointMoved(min(turn.at + question.checkpoint, question.last or turn.at)))
    turn.say("unpaused")
