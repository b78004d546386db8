"""We were away: that time does not count, and one catch-up question goes first."""

from bot.model.calls import event as c
from bot.model.fact import Gap
from bot.model.visit import event as e
from bot.model.visit.asks import buttons, particulars
from bot.model.visit.turn import Turn


def gap(turn: Turn, fact: Gap) -> None:
    away = fact.until - fact.since
    if away <= 0 or not turn.known:
        turn.answer = "nothing"
        return
    for call in turn.visit.open_calls:
        if fact.since <= call.due:
            turn.emit_call(c.Reminded(call.id, call.operator, call.due + away))
    question = turn.visit.question
    if question is None or turn.visit.state != "running":
        turn.answer = "nothing" if not turn.events else "ok"
        return
    began = fact.since if question.asked_at is None else max(fact.since, question.asked_at)
    turn.emit(e.WindowExtended(max(0, fact.until - began), fact.why))
    if question.asked_at is None:
        return  # the question itself is still to come: it is the catch-up
    turn.say(
        "catch_up",
        buttons=buttons(question, turn.context.book),
        key="question",
        **particulars(turn, question),
    )
