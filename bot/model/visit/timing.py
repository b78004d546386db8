"""When what is due: a pure function of the snapshot, so no live visit is ever without one."""

from bot.model.policy import Policy, minutes, out_of_quiet
from bot.model.runbook import Runbook
from bot.model.visit.state import Visit
from bot.model.visit.steps import consent_step

#: An invitation this close to the start goes out whatever the hour.
_URGENT = minutes(60)


def deadlines(visit: Visit, book: Runbook, policy: Policy) -> dict[str, int]:
    """Every deadline of the visit: kind to wave time in ms. Empty only when nothing is live."""
    due = {f"call:{call.id}": call.due for call in visit.open_calls}
    if visit.state == "planned":
        due["invite"] = invite_at(visit, book, policy)
    elif visit.state in ("invited", "agreed") and not visit.blocked and not visit.waits_hold:
        due["begin"] = visit.start
    if visit.waits_hold and not _has(visit, "held"):
        due["held"] = (visit.waits_since or 0) + policy.held_reminder
    if visit.state == "running":
        due |= _running(visit, book)
    if not visit.blocked and not visit.waits_hold:
        due |= _question(visit, policy)
    return due


def invite_at(visit: Visit, book: Runbook, policy: Policy) -> int:
    """When to ask for the time: ahead of the start, and not in the site's quiet hours."""
    if consent_step(book) is None:
        return visit.start
    wanted = max(visit.planned_at, visit.start - minutes(book.limits.invite_ahead))
    kind = out_of_quiet(wanted, visit.site.tz, policy)
    return kind if kind + _URGENT <= visit.start else wanted


def _running(visit: Visit, book: Runbook) -> dict[str, int]:
    due = {}
    if visit.link_down_at is not None and not _ever(visit, "without_service"):
        due["link"] = visit.link_down_at + minutes(book.limits.link_down)
    if (
        visit.agreed_end is not None
        and visit.question is not None
        and not visit.over_asked
        and not visit.blocked
    ):
        due["over"] = visit.agreed_end
    return due


def _question(visit: Visit, policy: Policy) -> dict[str, int]:
    question = visit.question
    if question is None:
        return {}
    if question.late:
        return {}  # the call it became has a deadline of its own
    if question.last is None or question.asked_at is None:
        return {"undelivered": question.made_at + policy.undelivered + question.extra}
    due = {"window": question.last}
    if visit.paused_until is not None:
        return {"unpause": visit.paused_until, **due}
    if not question.nudged and not question.reported:
        wanted = question.nudge_at
        if wanted is None:
            wanted = question.asked_at + question.checkpoint + question.extra
        due["nudge"] = min(wanted, question.last)
    if question.kind == "consent":  # asked of a person at home: not at night
        due = {k: out_of_quiet(at, visit.site.tz, policy) for k, at in due.items()}
    return due


def _has(visit: Visit, cause: str) -> bool:
    return any(c.open and c.cause == cause for c in visit.calls)


def _ever(visit: Visit, cause: str) -> bool:
    return any(c.cause == cause for c in visit.calls)
