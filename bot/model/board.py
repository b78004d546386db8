"""Where a wave stands: counted from the snapshots of its visits. Pure."""

from collections import Counter
from collections.abc import Iterable

import msgspec

from bot.model.runbook import Runbook
from bot.model.visit import finished
from bot.model.visit.morning import reopened
from bot.model.visit.state import Visit


class Late(msgspec.Struct, frozen=True, gc=False):
    """A site from which we expected to hear; ``by`` is milliseconds past that time."""

    site: str
    name: str
    stage: str
    by: int


class OpenCall(msgspec.Struct, frozen=True, gc=False):
    site: str
    name: str
    call: str
    cause: str
    severity: str
    operator: str
    cleared: bool
    taken_by: str
    raised_at: int


class Undated(msgspec.Struct, frozen=True):
    """A site without a date: ``since`` it was backed out, or else the start that was given up."""

    name: str
    tz: str
    since: int
    backed_out: bool = True


class Board(msgspec.Struct, frozen=True, gc=False, kw_only=True):
    """Counts are of visits (``states``), of sites where named so, and of units (the rest).

    What makes a visit done is counted each on its own (``bot.model.visit.finished``): checks and
    soak of a site count when its units have registered, also where it has none.
    """

    at: int
    states: dict[str, int]
    units: int
    online: int  # now
    registered: int  # ever
    sites: int
    sites_registered: int
    sites_checked: int
    sites_soaked: int
    held: int
    escalated: int  # units of visits for which somebody was called
    stopped: int
    out_of_service: int
    nudges: int
    calls: tuple[OpenCall, ...]
    late: tuple[Late, ...]
    curve: tuple[int, ...]  # instants of first registrations, rising
    undated: tuple[Undated, ...] = ()


def board(visits: Iterable[Visit], at: int, book: Runbook) -> Board:
    states: Counter[str] = Counter()
    units = online = registered = held = escalated = stopped = out = nudges = 0
    calls: list[OpenCall] = []
    late: list[Late] = []
    undated: list[Undated] = []
    curve: list[int] = []
    sites = there = checked = soaked = 0
    for visit in visits:
        sites += 1
        if finished.registered(visit):
            there += 1
            checked += finished.checks_passed(visit, book)
            soaked += finished.soak_passed(visit, book, at)
        states[state_of(visit)] += 1
        units += len(visit.units)
        online += sum(u.online for u in visit.units)
        curve += [u.registered_at for u in visit.units if u.registered_at is not None]
        held += sum(u.state == "held" for u in visit.units)
        if any(c.called_at is not None for c in visit.calls):
            escalated += len(visit.units)
        stopped += visit.stopped_at is not None
        out += visit.out_of_service
        nudges += visit.nudges
        calls += [_open(visit, c.id) for c in visit.open_calls]
        if visit.state == "backed_out":
            undated.append(Undated(visit.site.name, visit.site.tz, visit.back.done_at or 0))
        elif visit.state == "rebook":
            undated.append(Undated(visit.site.name, visit.site.tz, visit.start, backed_out=False))
        behind = late_by(visit, at)
        if behind > 0:
            stage = visit.question.stage if visit.question else ""
            late.append(Late(visit.id, visit.site.name, stage, behind))
    registered = len(curve)
    return Board(
        at=at,
        states=dict(sorted(states.items())),
        units=units,
        online=online,
        registered=registered,
        sites=sites,
        sites_registered=there,
        sites_checked=checked,
        sites_soaked=soaked,
        held=held,
        escalated=escalated,
        stopped=stopped,
        out_of_service=out,
        nudges=nudges,
        calls=tuple(sorted(calls, key=lambda c: (c.raised_at, c.site))),
        late=tuple(sorted(late, key=lambda x: (-x.by, x.site))),
        curve=tuple(sorted(curve)),
        undated=tuple(sorted(undated, key=lambda one: one.since)),
    )


def state_of(visit: Visit) -> str:
    """The state as people see it: a stop, a hold or a person at work comes before the rest."""
    if visit.stopped_at is not None:
        return "stopped"
    if visit.waits_hold:
        return "waiting"
    if visit.state == "running" and (visit.helper or any(c.blocks for c in visit.calls)):
        return "with a person"
    return "reopened" if reopened(visit) else visit.state.replace("_", " ")


def late_by(visit: Visit, at: int) -> int:
    """Milliseconds past the time at which we expected to hear; 0 when not late."""
    question = visit.question
    if visit.state == "agreed" and not visit.waits_hold:
        return max(0, at - visit.start)
    if visit.state != "running" or question is None or question.asked_at is None:
        return 0
    expected = question.asked_at + question.checkpoint + question.extra
    return max(0, at - max(expected, question.nudge_at or 0))


def _open(visit: Visit, call_id: str) -> OpenCall:
    call = visit.call(call_id)
    assert call is not None
    return OpenCall(
        visit.id,
        visit.site.name,
        call.id,
        call.cause,
        call.severity,
        call.operator,
        call.cleared_at is not None,
        call.taken_by,
        call.raised_at,
    )
