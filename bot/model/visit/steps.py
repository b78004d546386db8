"""The order of a visit: the runbook's stages, those of scope *unit* once for each unit."""

from typing import NamedTuple

from bot.model.runbook import Runbook, Stage
from bot.model.visit.state import Unit, Visit


class Step(NamedTuple):
    stage: Stage
    unit: str  # serial, empty for a stage of the visit


def steps(book: Runbook, units: tuple[Unit, ...]) -> tuple[Step, ...]:
    before = [Step(s, "") for s in book.stages if s.scope == "visit"]
    per_unit = [s for s in book.stages if s.scope == "unit"]
    first = book.stages.index(per_unit[0])
    middle = [Step(s, unit.serial) for unit in units for s in per_unit]
    return tuple(before[:first] + middle + before[first:])


def current(visit: Visit, book: Runbook) -> Step:
    return steps(book, visit.units)[visit.step]


def after_registration(visit: Visit, book: Runbook, serial: str) -> int:
    """Index of the step that follows once the unit ``serial`` has registered."""
    walk = steps(book, visit.units)
    return 1 + max(i for i, step in enumerate(walk) if step.unit == serial)


def first_powered(visit: Visit, book: Runbook, serial: str) -> int:
    """Index of the unit's first stage that watches the light with power on."""
    walk = steps(book, visit.units)
    return next(
        i
        for i, step in enumerate(walk)
        if step.unit == serial and step.stage.powered and step.stage.lights
    )


def consent_step(book: Runbook) -> int | None:
    """Index of the stage that asks for consent to the time, if the runbook has one."""
    for i, stage in enumerate(book.stages):
        if any(ask.kind == "consent" for ask in stage.asks):
            return i
    return None


def interrupted(visit: Visit, book: Runbook) -> bool:
    """Whether the visit has reached a stage that interrupts the site's service."""
    if visit.begun_at is None:
        return False
    walk = steps(book, visit.units)[: visit.step + 1]
    return any(step.stage.interrupts_service for step in walk)
