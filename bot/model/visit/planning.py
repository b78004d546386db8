"""A plan arrives: the first one, a new one before the evening, or an amendment under way."""

import msgspec
from msgspec.structs import replace

from bot.model.calls.life import clear, raise_call
from bot.model.fact import Planned
from bot.model.serial import normal
from bot.model.versions import at_least
from bot.model.visit import event as e
from bot.model.visit.spares_plan import as_swapped
from bot.model.visit.state import Plan, Site, Unit
from bot.model.visit.turn import Turn


def planned(turn: Turn, fact: Planned) -> None:
    plan = _as_passed_on(turn, msgspec.json.decode(fact.plan, type=Plan))
    if turn.known:
        plan = as_swapped(plan, turn.visit.spares)
    if turn.known and (not _may_replan(turn) or _same(turn, plan)):
        _amend(turn, plan)
    else:
        set_plan(turn, plan)
    for value in (normal(u.serial) for u in turn.visit.units):
        turn.index("serial", value)
    for person in (turn.visit.contact, turn.visit.deputy):
        if person is not None:
            turn.index("user", person.user)


def _as_passed_on(turn: Turn, plan: Plan) -> Plan:
    """Who took this evening over stays its contact, unless the list now names somebody else."""
    first = turn.visit.handing.first if turn.known else ""
    if not first or plan.contact.user != first or plan.start != turn.visit.start:
        return plan
    return replace(plan, contact=turn.visit.contact, deputy=turn.visit.deputy)


def _may_replan(turn: Turn) -> bool:
    """Serial, stage and start may change only while nobody is under way."""
    before = turn.visit.state in ("planned", "held", "invited", "agreed", "rebook", "backed_out")
    return before and turn.visit.stopped_at is None


def _same(turn: Turn, plan: Plan) -> bool:
    """Whether start and units stand as planned, so that an answer given stays given."""
    visit = turn.visit
    before = [(u.serial, u.model) for u in visit.units]
    known = all(
        not new.version or new.version == old.version
        for new, old in zip(plan.units, visit.units, strict=False)
    )
    return (
        visit.state not in ("held", "rebook", "backed_out")
        and visit.start == plan.start
        and before == [(u.serial, u.model) for u in plan.units]
        and visit.contact.user == plan.contact.user
        and known
    )


def _amend(turn: Turn, plan: Plan) -> None:
    """People and particulars only; an account known to be disabled stays so."""
    visit = turn.visit
    disabled = {p.user for p in (visit.contact, visit.deputy) if p is not None and p.disabled}
    contact = replace(plan.contact, disabled=plan.contact.user in disabled)
    deputy = plan.deputy
    if deputy is not None:
        deputy = replace(deputy, disabled=deputy.user in disabled)
    plan = replace(plan, contact=contact, deputy=deputy, site=_as_walked(turn, plan.site))
    if (plan.site, plan.contact, plan.deputy, plan.end) == (
        visit.site,
        visit.contact,
        visit.deputy,
        visit.end,
    ):
        turn.answer = "repeat"
        return
    turn.emit(e.PlanAmended(plan))


def _as_walked(turn: Turn, site: Site) -> Site:
    """The walk is made of cables and checks: once it has begun they stay as they are."""
    before = turn.visit.site
    if _may_replan(turn):
        return site
    return replace(site, cables=before.cables, checks=before.checks)


def set_plan(turn: Turn, plan: Plan) -> None:
    """The plan of a visit that is not under way: a first one, or another."""
    subject = turn.fact.subject
    turn.emit(e.PlanSet(plan, subject.wave, subject.site))
    reasons = [(u, why) for u in turn.visit.units if (why := ineligible(turn, u))]
    for call in turn.visit.open_calls:
        if call.cause == "not_started" or (call.cause == "held" and not reasons):
            clear(turn, call, "plan")
    for unit, why in reasons:
        turn.emit(e.UnitSet(unit.serial, "held", why))
    if reasons:
        turn.emit(e.StateSet("held", reasons[0][1]))
        raise_call(turn, "held", unit=reasons[0][0].serial, seen=f"@x:held_{reasons[0][1]}")


def ineligible(turn: Turn, unit: Unit) -> str:
    """Why a unit may not be installed by a site contact; empty when it may.

    A unit whose version is not known may start: its label is read before anything is done.
    """
    if unit.accepted or unit.registered_at is not None:
        return ""
    eligible = turn.context.book.models.get(unit.model)
    if eligible is None:
        return "model"
    if not eligible.unattended:
        return "attended"
    if unit.version and not at_least(unit.version, eligible.least_version):
        return "version"
    return ""
