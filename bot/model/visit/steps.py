"""The order of a visit: the runbook's stages, those of scope *unit* once for each unit."""

from bot.model.runbook import AskKind, Runbook, Step
from bot.model.visit.state import Visit

__all__ = ["Step"]

_WALKS_KEPT = 1024


def steps(book: Runbook, visit: Visit) -> tuple[Step, ...]:
    """All of a visit's steps in order; one decision asks for them many times."""
    serials = tuple([unit.serial for unit in visit.units])
    walk = book.walks.get(serials)
    if walk is None:
        if len(book.walks) >= _WALKS_KEPT:
            book.walks.clear()
        book.walks[serials] = walk = _steps(book, serials)
    return walk


def _steps(book: Runbook, serials: tuple[str, ...]) -> tuple[Step, ...]:
    before, each, after = book.by_scope
    return (
        *[Step(stage, "") for stage in before],
        *[Step(stage, serial) for serial in serials for stage in each],
        *[Step(stage, "") for stage in after],
    )


def current(visit: Visit, book: Runbook) -> Step:
    return steps(book, visit)[visit.step]


def is_over(visit: Visit, step: Step) -> bool:
    """Whether there is nothing left to do at the step: what it is for has registered already."""
    if step.unit:
        unit = visit.unit(step.unit)
        return unit is not None and unit.registered_at is not None
    return step.stage.waits_for_registration and all_registered(visit)


def all_registered(visit: Visit) -> bool:
    return all(unit.registered_at is not None for unit in visit.units)


def tidying(visit: Visit, book: Runbook) -> bool:
    """Whether all units run and only what comes after them is left."""
    if not all_registered(visit):
        return False
    rest = steps(book, visit)[visit.step :]
    return all(is_over(visit, s) or not s.unit for s in rest)


def after_registration(visit: Visit, book: Runbook, serial: str) -> int:
    """Index of the step that follows once the unit ``serial`` has registered."""
    walk = steps(book, visit)
    return 1 + max(i for i, step in enumerate(walk) if step.unit == serial)


def loading_step(visit: Visit, book: Runbook, serial: str) -> int:
    """Where a unit that lost power starts again: its first stage that watches the light with
    power on; without such a stage, where the visit stands."""
    for i, step in enumerate(steps(book, visit)):
        if step.unit == serial and step.stage.powered and step.stage.lights:
            return i
    return visit.step


def asks_for(book: Runbook, kind: AskKind) -> bool:
    """Whether any stage of the runbook has an ask of that kind."""
    return any(ask.kind == kind for stage in book.stages for ask in stage.asks)


def interrupted(visit: Visit, book: Runbook) -> bool:
    """Whether the visit has reached a stage that interrupts the site's service."""
    if visit.state not in ("running", "watched", "done"):
        return False
    walk = steps(book, visit)[: visit.step + 1]
    return any(step.stage.interrupts_service for step in walk)
