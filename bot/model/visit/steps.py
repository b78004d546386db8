"""The order of a visit: the runbook's stages, those of scope *unit* once for each unit.

Some are repeated for each cable or each check that the site list names.
"""

from collections.abc import Iterator, Sequence
from itertools import groupby
from math import ceil

from bot.model.policy import minutes
from bot.model.runbook import AskKind, Runbook, Stage, Step
from bot.model.visit.state import Site, Visit

__all__ = ["Step"]

_WALKS_KEPT = 1024


def steps(book: Runbook, visit: Visit) -> tuple[Step, ...]:
    """All of a visit's steps in order; one decision asks for them many times."""
    serials = visit.serials
    if visit.back.walking:
        return _back(book, serials, _moved(book, visit, serials))
    return _there(book, visit, serials)


def length(book: Runbook, site: Site) -> int:
    """How long the whole visit takes at that site, as told to its contact, in ms. What its items
    add is rounded up to five minutes: nobody plans an evening of "about 61 minutes"."""
    repeated = {stage.each for stage in book.stages}
    items = sum(len(getattr(site, name)) for name in ("cables", "checks") if name in repeated)
    return minutes(book.limits.visit + ceil((book.limits.item or 0) * items / 5) * 5)


def _there(book: Runbook, visit: Visit, serials: tuple[str, ...]) -> tuple[Step, ...]:
    """The way to the new units, kept for the visits that are alike."""
    key = (serials, visit.site.cables, visit.site.checks)
    walk = book.walks.get(key)
    if walk is None:
        if len(book.walks) >= _WALKS_KEPT:
            book.walks.clear()
        book.walks[key] = walk = _steps(book, *key)
    return walk


def _steps(
    book: Runbook, serials: tuple[str, ...], cables: tuple[str, ...], checks: tuple[str, ...]
) -> tuple[Step, ...]:
    listed = {"cables": cables, "checks": checks}

    def here(stages: Sequence[Stage]) -> list[Stage]:
        return [s for s in stages if s.only_with is None or listed[s.only_with]]

    def of_visit(stages: Sequence[Stage]) -> Iterator[Step]:
        for stage in here(stages):
            for item in listed[stage.each] if stage.each else ("",):
                yield Step(stage, "", item)

    before, each, after = book.by_scope
    own = here(each)
    units = (Step(stage, serial) for serial in serials for stage in own)
    return (*of_visit(before), *units, *of_visit(after))


def _moved(book: Runbook, visit: Visit, serials: tuple[str, ...]) -> tuple[str, ...]:
    """The cables that were moved, or just being moved, when the way back began; the last first."""
    walk = _there(book, visit, serials)
    units = max(i for i, step in enumerate(walk) if step.unit)
    moved = (s.item for s in walk[units + 1 : visit.back.from_step + 1] if s.stage.each == "cables")
    return tuple(reversed(tuple(moved)))


def _back(book: Runbook, serials: tuple[str, ...], moved: tuple[str, ...]) -> tuple[Step, ...]:
    """The way back: stages of a unit once for each, the last unit first; and moved cables."""
    stages = book.back_out.stages if book.back_out is not None else ()
    walk: list[Step] = []
    for scope, row in groupby(stages, lambda stage: stage.scope):
        each = tuple(row)
        for serial in reversed(serials) if scope == "unit" else ("",):
            for stage in each:
                items = moved if stage.each else ("",)
                walk += [Step(stage, serial, item) for item in items]
    return tuple(walk)


def current(visit: Visit, book: Runbook) -> Step:
    return steps(book, visit)[visit.step]


def is_over(visit: Visit, step: Step) -> bool:
    """Whether there is nothing left to do at the step: what it is for has registered already."""
    if visit.back.walking:
        return False  # the way back is walked whole, registered or not
    if step.unit:
        unit = visit.unit(step.unit)
        return unit is not None and unit.registered_at is not None
    if step.stage.each == "checks":
        return visit.course.passed(step.item)
    return step.stage.waits_for_registration and all_registered(visit)


def all_registered(visit: Visit) -> bool:
    return all(unit.registered_at is not None for unit in visit.units)


def tidying(visit: Visit, book: Runbook) -> bool:
    """Whether all units run and nothing is left that the site's own things depend on."""
    if visit.back.walking or not all_registered(visit):
        return False
    rest = steps(book, visit)[visit.step :]
    return all(is_over(visit, s) or not (s.unit or s.item) for s in rest)


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
    if visit.back.walking:
        return True
    if visit.state not in ("running", "watched", "done"):
        return False
    walk = steps(book, visit)[: visit.step + 1]
    return any(step.stage.interrupts_service for step in walk)
