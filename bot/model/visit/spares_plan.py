"""A site list that still names a withdrawn unit means the spare that stands in for it."""

from msgspec.structs import replace

from bot.model.serial import normal
from bot.model.visit.spares_state import Spares
from bot.model.visit.state import Plan


def as_swapped(plan: Plan, spares: Spares) -> Plan:
    """The plan with each withdrawn serial changed for its spare's, where that is known."""
    if not spares.swaps:
        return plan
    known = {normal(swap.old): swap for swap in spares.swaps if swap.new}
    units = list(plan.units)
    for i, unit in enumerate(units):
        seen: set[str] = set()
        while (swap := known.get(normal(unit.serial))) is not None and swap.new not in seen:
            seen.add(swap.new)
            unit = replace(unit, serial=swap.new, model=swap.model or unit.model, version="")
        units[i] = unit
    return replace(plan, units=tuple(units))
