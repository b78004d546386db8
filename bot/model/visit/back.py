"""Until when a site can still go back to its old unit, and what is due because of it.

The latest time is the end of the change window less the runbook's back-out minutes. Where the
site list gives no end, on-call is asked at the end agreed with the contact (``limits.visit`` from
the beginning, and the usual slack; or later, as the contact wished): the latest time is the usual
time to decide after that.
"""

from bot.model.policy import Policy, minutes
from bot.model.runbook import Runbook
from bot.model.runbook_back_out import BackOut
from bot.model.visit.state import Visit
from bot.model.visit.steps import length, steps

_UNDER_WAY = ("running", "watched")
#: What a call shows that asks whether to go on or to back out because the time runs out.
BACK_TIME = "@x:reason_back_time"


def latest(visit: Visit, book: Runbook, back_out: BackOut, policy: Policy) -> int:
    """The latest instant to begin the walk back."""
    if visit.end is not None:
        return visit.end - minutes(back_out.minutes)
    agreed = visit.agreed_end
    if agreed is None:
        agreed = visit.start + length(book, visit.site) + policy.slack
    return agreed + minutes(back_out.ask_ahead)


def asked_until(visit: Visit, book: Runbook, back_out: BackOut, policy: Policy, at: int) -> int:
    """By when who is asked at ``at`` has to decide: asked late or anew, they have some time."""
    return max(latest(visit, book, back_out, policy), at + minutes(book.route("back_out").minutes))


def at_risk(visit: Visit) -> bool:
    """Whether the visit is under way and its site has no service through it."""
    return visit.link_down_at is not None and visit.state in _UNDER_WAY


def touched(visit: Visit, book: Runbook) -> bool:
    """Whether the site's service was interrupted for this visit, so that there is a way back."""
    if visit.link_down_at is not None:
        return True
    if visit.back.out or visit.begun_at is None:
        return False
    walk = steps(book, visit)[: visit.step + 1]
    return any(step.stage.interrupts_service for step in walk)


def _is_asked(visit: Visit) -> bool:
    """Whether on-call has the question. A line that is cut anew, after the call was over, is
    asked about anew."""
    call = visit.call(visit.back.call)
    over = call is None or not call.open or call.cleared_at is not None
    return visit.back.latest is not None and not over


def back_deadlines(visit: Visit, book: Runbook, policy: Policy) -> dict[str, int]:
    """Whatever else the visit waits for: these hold for a site that could stay without service."""
    back, due = visit.back, {}
    if back.watch_at is not None:
        due["back_watch"] = back.watch_at
    if book.back_out is None or back.walking or not at_risk(visit):
        return due
    if back.decided == "go_on":
        if back.until is not None:
            due["back_ask"] = back.until
    elif not _is_asked(visit):
        ahead = minutes(book.back_out.ask_ahead)
        due["back_ask"] = latest(visit, book, book.back_out, policy) - ahead
    elif not back.late and back.latest is not None:
        due["back_latest"] = back.latest
    return due
