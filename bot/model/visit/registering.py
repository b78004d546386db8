"""A unit registered, or was lost again. The fact of registration is never taken back."""

from bot.model.calls.life import clear, raise_call
from bot.model.calls.state import CLEARED_BY_REGISTRATION
from bot.model.fact import Registered
from bot.model.serial import normal
from bot.model.visit import event as e
from bot.model.visit.state import Unit, Visit
from bot.model.visit.steps import after_registration, steps
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


def _thank(turn: Turn, unit: Unit) -> None:
    """Thank the contact and go on, unless a person must settle something first."""
    visit, book = turn.visit, turn.context.book
    if visit.blocked:
        for call in visit.open_calls:
            if call.blocks and call.called_at is not None:
                turn.post_call(call, "call_unit_registered", serial=unit.serial)
        return
    if visit.state in ("done", "rebook", "held"):
        return
    target = after_registration(visit, book, unit.serial)
    if visit.step >= target or _others_before(visit, turn, target):
        return
    if visit.begun_at is None:  # the contact was ahead of the conversation
        turn.emit(e.StateSet("running", "registered before the conversation began"))
        begun(turn)
    turn.say("online_thanks")
    if visit.waits_hold:
        turn.emit(e.HoldLeft())
    enter(turn, target, forced=True)


def _others_before(visit: Visit, turn: Turn, target: int) -> bool:
    """Whether another unit of the site still has to be walked through first."""
    serials = {step.unit for step in steps(turn.context.book, visit.units)[visit.step : target]}
    return any(u.serial in serials and u.registered_at is None for u in visit.units)


def _lost(turn: Turn, fact: Registered, unit: Unit) -> None:
    if not unit.online:
        turn.emit(e.RegistrationNoted(unit.serial, fact.kind))
        turn.answer = "repeat"
        return
    turn.emit(e.UnitLost(unit.serial, fact.source))
    turn.tell_wave("lost", serial=unit.serial)
    raise_call(turn, "lost", unit=unit.serial)
