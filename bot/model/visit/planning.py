"""A plan arrives: the first one, a new one before the evening, or an amendment under way."""

import msgspec

from bot.model.calls.life import clear, raise_call
from bot.model.fact import Planned
from bot.model.versions import at_least
from bot.model.visit import event as e
from bot.model.visit.state import Plan, Unit
from bot.model.visit.turn import Turn


def planned(turn: Turn, fact: Planned) -> None:
    plan = msgspec.json.decode(fact.plan, type=Plan)
    if (turn.known and not _may_replan(turn)) or (turn.known and _same(turn, plan)):
        _amend(turn, plan)
    else:
        _plan(turn, plan)
    for value in (u.serial for u in turn.visit.units):
        turn.index("serial", value)
    for person in (turn.visit.contact, turn.visit.deputy):
        if person is not None:
            turn.index("user", person.user)


def _may_replan(turn: Turn) -> bool:
    """Serial, stage and start may change only while nobody is under way."""
    return turn.visit.state in ("planned", "held", "invited", "agreed", "rebook") and (
        turn.visit.begun_at is None and not turn.visit.blocked_by_danger
    )


def _same(turn: Turn, plan: Plan) -> bool:
    """Whether start and units stand as planned, so that an answer given stays given."""
    visit = turn.visit
    before = [(u.serial, u.model) for u in visit.units]
    known = all(
        not new.version or new.version == old.version
        for new, old in zip(plan.units, visit.units, strict=False)
    )
    return (
        visit.state not in ("held", "rebook")
        and visit.start == plan.start
        and before == [(u.serial, u.model) for u in plan.units]
        and visit.contact.user == plan.contact.user
        and known
    )


def _amend(turn: Turn, plan: Plan) -> None:
    turn.emit(e.PlanAmended(plan))


def _plan(turn: Turn, plan: Plan) -> None:
    subject = turn.fact.subject
    turn.emit(e.PlanSet(plan, subject.wave, subject.site))
    for call in turn.visit.open_calls:
        if call.cause in ("held", "not_started"):
            clear(turn, call, "plan")
    reasons = [(u, why) for u in plan.units if (why := ineligible(turn, u))]
    for unit, why in reasons:
        turn.emit(e.UnitSet(unit.serial, "held", why))
    if reasons:
        turn.emit(e.StateSet("held", reasons[0][1]))
        raise_call(turn, "held", unit=reasons[0][0].serial, seen=f"@x:held_{reasons[0][1]}")


def ineligible(turn: Turn, unit: Unit) -> str:
    """Why a unit may not be installed by a site contact; empty when it may.

    A unit whose version is not known may start: its label is read before anything is done.
    """
    eligible = turn.context.book.models.get(unit.model)
    if eligible is None:
        return "model"
    if not eligible.unattended:
        return "attended"
    if unit.version and not at_least(unit.version, eligible.least_version):
        return "version"
    return ""
