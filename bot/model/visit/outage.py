"""We were away: that time does not count, and one catch-up question goes first."""

from msgspec.structs import replace

from bot.model.calls import event as c
from bot.model.fact import Gap
from bot.model.visit import event as e
from bot.model.visit.asks import buttons, particulars
from bot.model.visit.state import Question
from bot.model.visit.timing import latest_nudge
from bot.model.visit.turn import Turn


def gap(turn: Turn, fact: Gap) -> None:
    since = max(fact.since, turn.visit.counted_until or 0)  # a time counts as away once
    if fact.until <= since:
        turn.answer = "nothing"
        return
    fact = replace(fact, since=since)
    _counted(turn, fact)
    _calls(turn, fact)
    question = turn.visit.question
    if question is not None:
        began = question.made_at if question.asked_at is None else question.asked_at
        lost = fact.until - max(fact.since, began)
        if lost > 0:
            heard = question.heard_at is not None and question.heard_at >= turn.at
            turn.emit(e.WindowExtended(lost, fact.why))
            if not heard:  # else what was written meanwhile has been read and answered
                _catch_up(turn)


def _counted(turn: Turn, fact: Gap) -> None:
    """The line is not blamed for our absence: its window shifts too."""
    down = turn.visit.link_down_at
    lost = 0 if down is None else max(0, fact.until - max(fact.since, down))
    watched = any(unit.alive_at is not None for unit in turn.visit.units)
    if turn.visit.live or watched:
        turn.emit(e.AwayCounted(fact.until, lost))


def _calls(turn: Turn, fact: Gap) -> None:
    """Whoever was called could not answer either. A time that was stated is kept, and what is
    critical waits for nothing."""
    for call in turn.visit.open_calls:
        if call.severity == "critical":
            continue
        lost = fact.until - max(fact.since, call.raised_at)
        if lost > 0 and call.due >= fact.since and call.operator in ("none", "ack"):
            turn.emit_call(c.Delayed(call.id, call.due + lost))


def _catch_up(turn: Turn) -> None:
    """Ask where they are; a question still on its way is the catch-up itself."""
    question = turn.visit.question
    if question is None or question.asked_at is None or turn.visit.state != "running":
        return
    paused = turn.visit.paused_until
    if paused is not None:
        if paused > turn.at:
            return
        turn.emit(e.Unpaused())
    _ask_again_from_now(turn, question)
    turn.say(
        "catch_up",
        buttons=buttons(question, turn.context.book),
        key="question",
        **particulars(turn, question),
    )


def _ask_again_from_now(turn: Turn, question: Question) -> None:
    """The catch-up is an asking: the reminder of it comes a checkpoint later."""
    current = turn.visit.question or question
    until = min(turn.at + current.checkpoint, latest_nudge(current, turn.context.policy))
    if until > turn.at:
        turn.emit(e.CheckpointMoved(until))
