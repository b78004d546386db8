"""What units report: registered, lost again, alive. A registration is never taken back."""

from bot.model.calls.life import clear, raise_call
from bot.model.calls.state import CLEARED_BY_REGISTRATION
from bot.model.fact import Registered
from bot.model.kept import Choice
from bot.model.policy import minutes
from bot.model.serial import normal
from bot.model.subject import ASIDE
from bot.model.visit import back_walk
from bot.model.visit import event as e
from bot.model.visit.asks import rearm
from bot.model.visit.care import parks_first
from bot.model.visit.finished import there_since
from bot.model.visit.progress import progressed
from bot.model.visit.ready_asks import close
from bot.model.visit.spares import withdrawn_registers
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
from bot.model.visit.watching import done_or_watched


def registered(turn: Turn, fact: Registered) -> None:
    if withdrawn_registers(turn, fact):
        return
    unit = find_unit(turn.visit, fact.serial)
    if unit is None:
        turn.emit(e.RegistrationNoted(fact.serial, fact.kind, fact.detail))
        turn.answer = "unknown"
        return
    if fact.outside:
        _outside(turn, fact, unit)
    match fact.kind:
        case "lost":
            _lost(turn, fact, unit)
        case "alive":
            _alive(turn, fact, unit)
        case "progress":
            progressed(turn, fact, unit)
        case "registered" if unit.online:
            turn.emit(e.RegistrationNoted(unit.serial, fact.kind, fact.detail))
            turn.answer = "repeat"
        case "registered":
            online(turn, unit, fact.source, fact.detail)


def find_unit(visit: Visit, serial: str) -> Unit | None:
    wanted = normal(serial)
    return next((u for u in visit.units if normal(u.serial) == wanted), None)


def online(turn: Turn, unit: Unit, source: str, detail: dict[str, str]) -> None:
    """The unit is there, for the first time or again."""
    first = unit.registered_at is None
    turn.emit(e.UnitOnline(unit.serial, source, first, detail))
    if turn.visit.back.out:
        back_walk.registered_meanwhile(turn, unit.serial)
        return
    if turn.visit.link_down_at is not None:
        turn.emit(e.LinkBack())
    for call in turn.visit.open_calls:
        if call.cause in CLEARED_BY_REGISTRATION and call.unit in ("", unit.serial):
            clear(turn, call, "registration")
    if first:
        _thank(turn, unit)
        _hear_again(turn)
    elif unit.flaps == 0:  # it came back for the first time: who came back once may do so often
        turn.tell(ASIDE, "flapping", serial=unit.serial, site=turn.visit.site.name, source=source)


def _outside(turn: Turn, fact: Registered, unit: Unit) -> None:
    """It counts all the same; a person is asked whether two boxes were swapped."""
    name = turn.visit.site.name
    turn.tell(
        ASIDE,
        "outside",
        serial=unit.serial,
        site=name,
        source=fact.source,
        own=str(Choice(turn.fact.subject, unit.serial, name)) if fact.choices else "",
        other=fact.choices[0] if fact.choices else "",
        again="yes" if unit.registered_at is not None else "",
    )


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
    if visit.state in ("done", "held", "watched"):
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
        close(turn, "registered")
        if parks_first(turn):
            return
    turn.say("online_thanks")
    if visit.waits_hold:
        turn.emit(e.HoldLeft())
    enter(turn, target, forced=True)


def _others_first(visit: Visit, turn: Turn, target: int) -> bool:
    """Whether the walk stands at another unit of the site, or past this one already."""
    if visit.step >= target:
        return True
    walk = steps(turn.context.book, visit)[visit.step : target]
    return any(step.unit and not is_over(visit, step) for step in walk)


def _after_all(turn: Turn) -> None:
    """It was to be another evening, and was done all the same."""
    turn.say("online_thanks")
    if all_registered(turn.visit):
        done_or_watched(turn, signed=False)


def _lost(turn: Turn, fact: Registered, unit: Unit) -> None:
    if not unit.online:
        turn.emit(e.RegistrationNoted(unit.serial, fact.kind, fact.detail))
        turn.answer = "repeat"
        return
    _gone(turn, unit, fact.source, fact.detail)


def _gone(turn: Turn, unit: Unit, source: str, detail: dict[str, str]) -> None:
    turn.emit(e.UnitLost(unit.serial, source, detail))
    if turn.visit.back.out:
        return  # it is unplugged, as asked
    raise_call(turn, "lost", unit=unit.serial)


# --- signs of life ---------------------------------------------------------------------------


def _alive(turn: Turn, fact: Registered, unit: Unit) -> None:
    """Counts within the soak time; a unit that had gone silent is there again by it."""
    if unit.registered_at is None or not _soaking(turn, unit):
        turn.answer = "nothing"
        return
    if unit.lost_at is not None:
        online(turn, unit, fact.source, fact.detail)
    turn.emit(e.UnitAlive(unit.serial))


def _soaking(turn: Turn, unit: Unit) -> bool:
    soak = turn.context.book.limits.soak
    if soak is None or turn.context.book.limits.heartbeat is None:
        return False
    return turn.at <= there_since(unit) + minutes(soak)


def went_silent(turn: Turn, unit: Unit) -> None:
    """No sign of life for too long: it counts as done no longer, and somebody is called once."""
    _gone(turn, unit, "silence", {})
