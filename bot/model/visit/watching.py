"""The walk is over and nobody is asked any more: the site is watched until it is done.

Done are the units that stay for the soak time; one that goes silent in it is called for as at any
other time (``registering.went_silent``), and its soak begins anew when it is back.
"""

from bot.model.policy import Policy, minutes, out_of_quiet
from bot.model.runbook import Runbook
from bot.model.visit import event as e
from bot.model.visit.course_events import WatchBegun
from bot.model.visit.finished import checks_passed, finished, soak_end
from bot.model.visit.state import Visit
from bot.model.visit.turn import Turn

#: So long after the watch began a person is called about checks that nobody has made.
_UNTRIED = minutes(18 * 60)


def done_or_watched(turn: Turn, *, signed: bool) -> bool:
    """Done at once where nothing is left to wait for, else watched; true when it is done."""
    if finished(turn.visit, turn.context.book, turn.at):
        turn.emit(e.VisitEnded(signed))
        return True
    keep_watch(turn, "walk over" if signed else "walk over, no goodbye", signed=signed)
    return False


def keep_watch(turn: Turn, why: str, *, signed: bool) -> None:
    """Ask nobody any more and watch. A unit that is not there is called for if it stays away.

    ``signed``: the site's people know that they have nothing more to do.
    """
    turn.emit(WatchBegun(why, signed))
    until = turn.at + turn.context.policy.watch
    called = {c.unit for c in turn.visit.open_calls if c.cleared_at is None}
    for unit in turn.visit.units:
        if not unit.online and unit.watched_until is None and not called & {"", unit.serial}:
            turn.emit(e.UnitWatched(unit.serial, until))


def deadlines(visit: Visit, book: Runbook, policy: Policy) -> dict[str, int]:
    """When a watched visit is done, if nothing happens until then.

    Where nobody has said that all works, and nobody asks in the morning, a person must.
    """
    if visit.state != "watched":
        return {}
    if not checks_passed(visit, book):
        if any(call.cause == "site_check" for call in visit.open_calls):
            return {}
        late = (visit.course.watched_at or 0) + _UNTRIED
        return {"checks": out_of_quiet(late, visit.site.tz, policy)}
    end = soak_end(visit, book)
    return {} if end is None else {"soak": end}


def soak_over(turn: Turn) -> None:
    """The deadline ``soak``: all units stayed, and what the site lives on works."""
    if finished(turn.visit, turn.context.book, turn.at):
        turn.emit(e.VisitEnded(not turn.visit.unsigned))
