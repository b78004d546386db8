"""Danger and the wish to stop. A stop is never undone but by a person of the team."""

from collections.abc import Sequence

from bot.model.calls import event as c
from bot.model.calls.life import as_now, raise_call
from bot.model.fact import Said
from bot.model.message import ESCALATION
from bot.model.visit import event as e
from bot.model.visit.steps import current
from bot.model.visit.turn import Turn
from bot.model.visit.walk import go_on


def danger(turn: Turn, rule: str, languages: Sequence[str] = ()) -> None:
    """Stop the visit, call everyone, hold the wave's new starts.

    The fixed safety answer was sent by the handler before this decision, where the words fell
    and in ``languages``; if that was not the visit's own thread, or not the language of its
    contact, it is said there as well.
    """
    turn.answer = "danger"
    already = turn.visit.stopped_at is not None
    step = current(turn.visit, turn.context.book)
    turn.emit(e.Stopped(rule))
    fact = turn.fact
    answered = isinstance(fact, Said) and fact.place == "thread"
    if not answered or turn.visit.lang_of(turn.visit.contact) not in languages:
        turn.say("danger", urgency=ESCALATION)
    call = raise_call(turn, "danger", stage=step.stage.id, seen=rule)
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
    """The site is safe, a person says: close the danger call and go on where it stood."""
    if turn.visit.stopped_at is None:
        turn.answer = "nothing"
        return
    turn.emit(e.Restarted(by))
    for call in turn.visit.open_calls:
        if call.cause == "danger":
            turn.emit_call(c.Closed(call.id, by, "restarted"))
            turn.post_call(as_now(turn, call), "call_restarted", who=turn.context.roster.name(by))
    if turn.visit.state == "running" and not turn.visit.blocked:
        turn.say("restarted")
    safe_before(turn)
    go_on(turn)


def safe_before(turn: Turn) -> None:
    """Agreed and not yet begun: who was told to stay away hears that it is over."""
    visit = turn.visit
    if visit.state == "agreed" and not visit.blocked and turn.at < visit.start:
        turn.say("safe_before", start=visit.start)
