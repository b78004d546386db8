"""More time, a pause, another evening: what fits in the window is given, the rest is offered."""

from bot.model.message import Button
from bot.model.policy import MINUTE
from bot.model.visit import event as e
from bot.model.visit.state import Question
from bot.model.visit.timing import latest_nudge
from bot.model.visit.turn import Turn


def later(turn: Turn, wanted: int) -> None:
    """The contact will be ready at the instant ``wanted``; moves the checkpoint if it fits."""
    question = turn.visit.question
    if question is None:
        turn.say("nothing_open", key="prompt")
        return
    wanted = max(turn.at + MINUTE, wanted)
    if wanted <= latest_nudge(question, turn.context.policy):
        turn.emit(e.CheckpointMoved(wanted))
        turn.say("later_ok", until=wanted, key="prompt")
    else:
        _offer(turn, question)


def _offer(turn: Turn, question: Question) -> None:
    """That long does not fit: the latest possible time, a person, or another evening."""
    latest = latest_nudge(question, turn.context.policy)
    turn.emit(e.Reported())
    choices = [
        Button(f"v:{question.id}:help", "b_help"),
        Button(f"v:{question.id}:other_evening", "b_other_evening"),
    ]
    if latest <= turn.at:
        turn.say("no_more_time", buttons=tuple(choices), key="prompt")
        return
    first = Button(f"v:{question.id}:latest", "b_latest", "primary")
    turn.say("later_too_long", latest=latest, buttons=(first, *choices), key="prompt")


def latest(turn: Turn, question: Question) -> None:
    """As late as the window allows."""
    at = latest_nudge(question, turn.context.policy)
    if at <= turn.at:
        _offer(turn, question)
        return
    turn.emit(e.CheckpointMoved(at))
    turn.say("later_ok", until=at, key="prompt")


def pause(turn: Turn) -> None:
    """Stand still for a while; a pause ends while there is still time to answer."""
    question = turn.visit.question
    if question is None:
        turn.say("nothing_open", key="prompt")
        return
    latest = latest_nudge(question, turn.context.policy)
    if latest < turn.at + MINUTE:
        _offer(turn, question)
        return
    until = min(turn.at + turn.context.policy.pause, latest)
    turn.emit(e.Paused(until))
    again = Button(f"v:{question.id}:unpause", "b_unpause", "primary")
    turn.say("paused", until=until, buttons=(again,), key="prompt")


def unpause(turn: Turn) -> None:
    """The contact is back."""
    end_pause(turn)
    turn.say("unpaused", key="prompt")


def pause_over(turn: Turn) -> None:
    """The pause is over: ask whether they are back, as at any checkpoint."""
    turn.emit(e.Unpaused())
    if turn.visit.question is not None:
        turn.emit(e.CheckpointMoved(turn.at))


def end_pause(turn: Turn) -> None:
    """The pause ends, and the next asking counts from now."""
    if turn.visit.paused_until is None:
        return
    turn.emit(e.Unpaused())
    question = turn.visit.question
    if question is not None and question.asked_at is not None:
        latest = latest_nudge(question, turn.context.policy)
        turn.emit(e.CheckpointMoved(max(turn.at, min(turn.at + question.checkpoint, latest))))
