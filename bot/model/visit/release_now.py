"""Releasing a contact: when it may be done without asking anybody, and what it does."""

from bot.model.calls.life import clear
from bot.model.fact import Actor, Pressed
from bot.model.policy import minutes
from bot.model.visit import event as e
from bot.model.visit.finished import registered
from bot.model.visit.handing_events import LeavingOver
from bot.model.visit.lights import CHECKS
from bot.model.visit.release import Released, hands_free
from bot.model.visit.state import Visit
from bot.model.visit.steps import Step, is_over, steps
from bot.model.visit.turn import Turn
from bot.model.visit.watching import done_or_watched, keep_watch

RULE = "rule"


def may_go(turn: Turn) -> bool:
    """Whether the contact may go by the runbook's rule: no person and no check is needed."""
    visit = turn.visit
    if visit.state != "running" or visit.blocked or visit.waits_hold or visit.back.walking:
        return False
    question = visit.question
    if question is not None and question.ask in (*CHECKS.values(), "over"):
        return False
    return hands_free(turn.context.book, tuple(step.stage.id for step in _rest(turn)))


def _rest(turn: Turn) -> list[Step]:
    visit = turn.visit
    walk = steps(turn.context.book, visit)[visit.step :]
    return [step for step in walk if not is_over(visit, step)]


def release(turn: Turn, by: str) -> None:
    """Nobody is asked any more. A unit that does not register in time calls on-call."""
    visit = turn.visit
    until = _until(turn)
    powered = visit.powered_at is not None or registered(visit)
    if visit.handing.due is not None or visit.handing.offer is not None:
        turn.emit(LeavingOver("released"))
    if visit.helper:
        turn.emit(e.HandedBack(by))
    turn.emit(Released(by, until))
    for call in turn.visit.open_calls:
        if call.cause in ("leaving", "silent", "over_time"):
            clear(turn, call, "answer")
    for unit in visit.units:
        if unit.registered_at is None:
            turn.emit(e.UnitWatched(unit.serial, until))
    if registered(turn.visit):
        done_or_watched(turn, signed=True)
    else:
        keep_watch(turn, f"released by {by}", signed=True)
    turn.say("released" if powered else "released_as_is")
    turn.note("handover_released", until=until)


def _until(turn: Turn) -> int:
    """When what is left should be over: the open question's end and the windows behind it."""
    visit = turn.visit
    rest = [step for step in _rest(turn) if step.unit]
    question = visit.question
    own = [minutes(step.stage.window) for step in rest]
    if question is not None and question.last is not None and own:
        return max(question.last, turn.at) + sum(own[1:])
    return turn.at + max(sum(own), turn.context.policy.gather)


def ordered(turn: Turn, actor: Actor) -> None:
    """The order *release*, of on-call or an admin: they answer for what is left."""
    visit = turn.visit
    if visit.state != "running" or visit.in_danger or visit.back.walking:
        turn.answer = "nothing"  # halfway back to the old unit the site has neither
        return
    release(turn, actor.user)


def pressed(turn: Turn, fact: Pressed) -> None:
    """``g:CALL:let_go``: the button on a call about somebody who has to leave."""
    if not (fact.actor.oncall or fact.actor.admin):
        turn.answer = "not_yours"
        return
    ordered(turn, fact.actor)
    if turn.answer == "nothing":
        turn.answer = "stale"


def was_released(visit: Visit) -> bool:
    return visit.release.at is not None
