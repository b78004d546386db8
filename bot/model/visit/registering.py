"""A unit registered, or was lost again. The fact of registration is never taken back."""

from bot.model.calls.life import clear, raise_call
from bot.model.calls.state import CLEARED_BY_REGISTRATION
from bot.model.fact import Registered
from bot.model.serial import normal
from bot.model.visit import event as e
from bot.model.visit.asks import rearm
from bot.model.visit.state import Unit, Visit
from bot.model.visit.steps import (
    after_registration,
    all_registered,
    current,
    is_over,
    steps,
)
from bot.model.visit.takeover import registered_meanwhile
from bot.model.visit.turn import Turn
from bot.model.visit.walk import begun, enter


def registered(turn: Turn, fact: Registered) -> None:
    unit = find_unit(turn.visit, fact.serial)
    if unit is None:
        turn.emit(e.RegistrationNoted(fact.serial, fact.kind))
        turn.answer = "unknown"
    elif fact.kind == "lost":
        _lost(turn, fact, unit)
    elif unit.online:
        turn.emit(e.RegistrationNoted(unit.serial, fact.kind))
        turn.answer = "repeat"
    else:
        _online(turn, fact, unit)


def find_unit(visit: Visit, serial: str) -> Unit | None:
    wanted = normal(serial)
    return next((u for u in visit.units if normal(u.serial) == wanted), None)


def _online(turn: Turn, fact: Registered, unit: Unit) -> None:
    first = unit.registered_at is None
    turn.emit(e.UnitOnline(unit.serial, fact.source, first))
    if turn.visit.link_down_at is not None:
        turn.emit(e.LinkBack())
    for call in turn.visit.open_calls:
        if call.cause in CLEARED_BY_REGISTRATION and call.unit in ("", unit.serial):
            clear(turn, call, "registration")
    turn.tell_wave("online", serial=unit.serial)
    if first:
        _thank(turn, unit)
        _hear_again(turn)


def _hear_again(turn: Turn) -> None:
    """A question that had become a call, and stays open: silence counts anew."""
    if not any(c.cleared_at is None for c in turn.visit.open_calls):
        rearm(turn)


def _thank(turn: Turn, unit: Unit) -> None:
    """Thank the contact and go on, unless a person must settle something first."""
    visit, book = turn.visit, turn.context.book
    if visit.blocked:
        for call in visit.open_calls:
            if call.blocks and call.called_at is not None:
                turn.post_call(call, "call_unit_registered", serial=unit.serial)
        registered_meanwhile(turn, unit.serial)
        return
    if visit.state in ("done", "held"):
        return
    if visit.state == "rebook":
        _after_all(turn)
        return
    target = after_registration(visit, book, unit.serial)
    if visit.step >= target and is_over(visit, current(visit, book)):
        target = visit.step + 1  # the stage waited for the last of several units
    if _others_first(visit, turn, target):
        turn.say("online_other", serial=unit.serial, model=unit.model)
        return
    if visit.state != "running" or visit.begun_at is None:  # ahead of the conversation
        turn.emit(e.StateSet("running", "registered before the conversation began"))
        begun(turn)
    turn.say("online_thanks")
    if visit.waits_hold:
        turn.emit(e.HoldLeft())
    enter(turn, target, forced=True)


def _others_first(visit: Visit, turn: Turn, target: int) -> bool:
    """Whether the walk stands at another unit of the site, or past this one already."""
    if visit.step >= target:
        return True
    walk = steps(turn.context.book, visit.units)[visit.step : target]
    return any(step.unit and not is_over(visit, step) for step in walk)


def _after_all(turn: Turn) -> None:
    """It was to be another evening, and was done all the same."""
    turn.say("online_thanks")
    if all_registered(turn.visit):
        turn.emit(e.VisitEnded(signed=False))
        turn.tell_wave("done")


def _lost(turn: Turn, fact: Registered, unit: Unit) -> None:
    if not unit.online:
        turn.emit(e.RegistrationNoted(unit.serial, fact.kind))
        turn.answer = "repeat"
        return
    turn.emit(e.UnitLost(unit.serial, fact.source))
    turn.tell_wave("lost", serial=unit.serial)
    raise_call(turn, "lost", unit=unit.serial)
