"""What makes a visit done: its units registered, what the site lives on works, the soak is over.

The three are counted each on its own, everywhere; this is the only place that says what they are.
"""

from bot.model.policy import minutes
from bot.model.runbook import Runbook
from bot.model.visit.state import Unit, Visit
from bot.model.visit.steps import all_registered


def finished(visit: Visit, book: Runbook, at: int) -> bool:
    """All three at the instant ``at``, in milliseconds of wave time."""
    return registered(visit) and checks_passed(visit, book) and soak_passed(visit, book, at)


def registered(visit: Visit) -> bool:
    """Whether every unit has registered; that is never taken back."""
    return all_registered(visit)


def checks_passed(visit: Visit, book: Runbook) -> bool:
    """Whether all that the site lives on was found to work; so too where nothing is listed."""
    return not open_checks(visit, book)


def open_checks(visit: Visit, book: Runbook) -> tuple[str, ...]:
    """What of the site's list was not yet found to work, nor to be absent."""
    if not any(stage.each == "checks" for stage in book.stages):
        return ()
    return tuple(item for item in visit.site.checks if not visit.course.passed(item))


def soak_passed(visit: Visit, book: Runbook, at: int) -> bool:
    """Whether every unit has been there without a break for the runbook's soak time."""
    end = soak_end(visit, book)
    return end is not None and at >= end


def soak_end(visit: Visit, book: Runbook) -> int | None:
    """When the soak is over as things stand; ``None`` while a unit is not there.

    Without a soak in the runbook it is over with the registration.
    """
    if not registered(visit):
        return None
    soak = book.limits.soak
    if soak is None:
        return max(unit.registered_at or 0 for unit in visit.units)
    if not all(unit.online for unit in visit.units):
        return None
    return max(there_since(unit) for unit in visit.units) + minutes(soak)


def there_since(unit: Unit) -> int:
    """Since when a unit is there without a break: a unit that came back begins its soak anew."""
    return unit.registered_at or 0 if unit.back_at is None else unit.back_at
