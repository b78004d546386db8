"""What is handed over in the morning: each site of the evening, what is odd, and who knows. Pure.

Nothing here is personal data of a site: those who know are people of the team, else the site's
own contact, who is not named.
"""

from collections.abc import Iterable, Iterator

import msgspec

from bot.model.board import state_of
from bot.model.policy import MINUTE
from bot.model.runbook import Runbook
from bot.model.visit.finished import checks_passed, finished, registered, soak_passed
from bot.model.visit.morning import morning_passed, reopened
from bot.model.visit.state import Visit

_DAY = 24 * 60 * MINUTE
_UNSETTLED = ("reopened", "stopped", "watched", "running")
#: For so long a site that did not answer is in the mornings' posts: once.
_LISTED = _DAY
#: States before anything was done at a site.
_BEFORE = ("planned", "held", "invited", "agreed")


class Odd(msgspec.Struct, frozen=True, gc=False):
    """One thing to know: ``key`` names the text ``handover_odd_<key>``, with its arguments."""

    key: str
    args: dict[str, str] = {}


class SiteAfter(msgspec.Struct, frozen=True, gc=False):
    """A site after its evening. ``knows``: chat users of the team; empty: its contact knows.

    ``line_may_go``: the old line may be given up, after soak, site checks and the morning's yes.
    ``checked`` and ``soaked`` count where all units have registered, as on the board.
    """

    site: str
    name: str
    tz: str
    state: str
    began: int | None
    morning: str  # ``yes``, ``no``, ``unanswered``, ``waits``, ``again`` (is asked anew), ``none``
    odd: tuple[Odd, ...]
    knows: tuple[str, ...]
    line_may_go: bool
    registered: bool = False
    checked: bool = False
    soaked: bool = False
    asked_at: int | None = None
    answered_at: int | None = None

    @property
    def fine(self) -> bool:
        return not self.odd


class Handover(msgspec.Struct, frozen=True, gc=False):
    at: int
    sites: tuple[SiteAfter, ...]

    @property
    def open(self) -> bool:
        """Whether something is still to come or to be seen to."""
        return any(site.morning == "waits" or _unsettled(site, self.at) for site in self.sites)

    def since(self, at: int) -> "Handover":
        """Sites whose evening began after ``at``, and those that are not settled before it."""
        kept = tuple(s for s in self.sites if (s.began or 0) > at or _unsettled(s, self.at))
        return Handover(self.at, kept)


def _unsettled(site: SiteAfter, at: int) -> bool:
    if site.morning == "unanswered":
        return at - (site.asked_at or 0) < _LISTED
    return site.morning in ("no", "again") or site.state in _UNSETTLED


def handover(visits: Iterable[Visit], book: Runbook, at: int) -> Handover:
    """All sites whose evening has been, what needs somebody first."""
    found = [_site(visit, book, at) for visit in visits if _has_been(visit, at)]
    return Handover(at, tuple(sorted(found, key=lambda s: (s.fine, s.name))))


def _has_been(visit: Visit, at: int) -> bool:
    if visit.state in _BEFORE:
        return False
    return visit.state != "rebook" or visit.start <= at


def line_may_go(visit: Visit, book: Runbook, at: int) -> bool:
    """Whether the old line may be given up: the unit stayed, all works, and the site says so."""
    well = visit.state == "done" and all(unit.online for unit in visit.units)
    called = any(call.cleared_at is None for call in visit.open_calls)
    return (
        finished(visit, book, at)
        and well
        and morning_passed(visit)
        and not called
        and not visit.in_danger
    )


def _site(visit: Visit, book: Runbook, at: int) -> SiteAfter:
    morning, there = visit.morning, registered(visit)
    return SiteAfter(
        site=visit.id,
        name=visit.site.name,
        tz=visit.site.tz,
        state=state_of(visit),
        began=visit.begun_at or (visit.start if visit.start <= at else None),
        morning=_said(visit),
        odd=tuple(_odd(visit, book, at)),
        knows=_knows(visit),
        line_may_go=line_may_go(visit, book, at),
        registered=there,
        checked=there and checks_passed(visit, book),
        soaked=there and soak_passed(visit, book, at),
        asked_at=morning.asked_at,
        answered_at=morning.answered_at,
    )


def _said(visit: Visit) -> str:
    if visit.morning.answer:
        return visit.morning.answer
    if visit.morning.due is None:
        return "none"
    return "again" if visit.morning.made and visit.morning.asked_at is None else "waits"


def _knows(visit: Visit) -> tuple[str, ...]:
    """Who of the team had a call about it, or the conversation, latest first."""
    taken = [call.taken_by for call in reversed(visit.calls) if call.taken_by]
    helped = [helped.by for helped in reversed(visit.helped)]
    return tuple(dict.fromkeys((*taken, *helped)))


def _odd(visit: Visit, book: Runbook, at: int) -> Iterator[Odd]:
    """The gravest first."""
    if visit.stopped_at is not None:
        yield Odd("stopped")
    if reopened(visit):
        yield Odd("reopened")
    if visit.state in ("rebook", "backed_out"):
        yield Odd(visit.state)
    if visit.out_of_service:
        yield Odd("line_down")
    yield from _units(visit)
    if visit.state in ("watched", "done"):
        yield from _checks(visit, book, at)
    for call in visit.open_calls:
        if call.id != visit.morning.call:
            yield Odd("call_over" if call.cleared_at else "call", {"cause": call.cause})
    if visit.morning.answer == "unanswered":
        yield Odd("unanswered")
    yield from _notes(visit)


def _units(visit: Visit) -> Iterator[Odd]:
    over = visit.state in ("watched", "done", "running")
    for unit in visit.units:
        if unit.lost_at is not None:
            yield Odd("lost", {"serial": unit.serial})
        elif unit.registered_at is None and over:
            yield Odd("not_registered", {"serial": unit.serial})
        if unit.flaps:
            yield Odd("flaps", {"serial": unit.serial, "count": str(unit.flaps)})


def _checks(visit: Visit, book: Runbook, at: int) -> Iterator[Odd]:
    if not checks_passed(visit, book):
        yield Odd("checks")
    if registered(visit) and not soak_passed(visit, book, at):
        yield Odd("soak")


def _notes(visit: Visit) -> Iterator[Odd]:
    """What is settled, and still good to know."""
    if visit.release.at is not None:
        yield Odd("released")
    if visit.handing.first:
        yield Odd("handed_on")
    if visit.unsigned:
        yield Odd("unsigned")
    if not visit.morning.hours_known:
        yield Odd("hours")
    closed = [c for c in visit.calls if not c.open and c.called_at is not None and c.reason]
    for cause in dict.fromkeys(c.cause for c in closed):
        yield Odd("solved", {"cause": cause})


def last_day(at: int) -> int:
    """Evenings that began after this belong to the morning ``at`` (ms)."""
    return at - _DAY
