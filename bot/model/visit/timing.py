"""When what is due: a pure function of the snapshot, so no live visit is ever without one."""

from bot.model.policy import Policy, minutes, out_of_quiet
from bot.model.runbook import Runbook
from bot.model.visit import ready_times
from bot.model.visit.back import back_deadlines
from bot.model.visit.finished import there_since
from bot.model.visit.quiet import care_deadlines, driving, may_drive
from bot.model.visit.returns_times import return_deadlines
from bot.model.visit.state import Question, Visit
from bot.model.visit.steps import asks_for, tidying
from bot.model.visit.watching import deadlines as watching

#: With less than this to the start, an invitation goes out whatever the hour.
_URGENT = minutes(15)
#: How long an answer about danger may take before a person is called, from when we asked.
DANGER_WINDOW = minutes(5)


def deadlines(visit: Visit, book: Runbook, policy: Policy) -> dict[str, int]:
    """Every deadline of the visit: kind to wave time in ms. Empty only when nothing is live."""
    due = {f"call:{call.id}": call.due for call in visit.open_calls}
    for number, unit in enumerate(visit.units):
        if unit.watched_until is not None:
            due[f"watch:{number}"] = unit.watched_until
    due |= _signs(visit, book)
    due |= back_deadlines(visit, book, policy)
    if visit.spares.returns or visit.spares.swaps:
        due |= return_deadlines(visit, policy)
    if (
        visit.state in ("running", "watched")
        and visit.link_down_at is not None
        and not visit.link_late
    ):
        due["link"] = visit.link_down_at + minutes(book.limits.link_down)
    if visit.danger_ask is not None and visit.stopped_at is None:
        due["danger_ask"] = visit.danger_ask.at + DANGER_WINDOW
    if visit.helper and visit.helper_due is not None:
        due["helper"] = visit.helper_due
    if visit.state == "agreed" and book.ready is not None:
        due |= ready_times.deadlines(visit, book, policy)
    if visit.handing.due is not None and visit.state in ("invited", "agreed", "running"):
        due["handing"] = visit.handing.due
    if visit.morning.due is not None:
        due["morning"] = visit.morning.due
    if visit.blocked:
        return due
    if visit.waits_hold:
        due["held"] = (visit.waits_since or 0) + policy.held_reminder
        return due
    if visit.state == "watched":
        return due | watching(visit, book, policy)
    due |= care_deadlines(visit, book)
    if driving(visit):
        return due  # no question counts meanwhile
    found = _question(visit, policy)
    if "nudge" in found and may_drive(visit, book):
        del found["nudge"]  # it might go to a driver
    return due | _start(visit, book, policy) | _over(visit, book) | found


def _signs(visit: Visit, book: Runbook) -> dict[str, int]:
    """A unit that has given signs of life must give them until its soak time is over."""
    soak, silent = book.limits.soak, book.limits.heartbeat
    if soak is None or silent is None:
        return {}
    found = {}
    for number, unit in enumerate(visit.units):
        if unit.online and unit.alive_at is not None:
            heard = max(unit.alive_at, visit.counted_until or 0)  # while we were away: no silence
            at = heard + minutes(silent)
            if at <= there_since(unit) + minutes(soak):
                found[f"alive:{number}"] = at
    return found


def _start(visit: Visit, book: Runbook, policy: Policy) -> dict[str, int]:
    if visit.state == "planned" and asks_for(book, "consent"):
        return {"invite": invite_at(visit, book, policy)}
    if visit.state in ("planned", "invited", "agreed"):
        return {"begin": visit.start}
    return {}


def invite_at(visit: Visit, book: Runbook, policy: Policy) -> int:
    """When to ask for the time: ahead of the start, and not in the site's quiet hours."""
    wanted = max(visit.planned_at, visit.start - minutes(book.limits.invite_ahead))
    kind = out_of_quiet(wanted, visit.site.tz, policy)
    return kind if kind + _URGENT <= visit.start else wanted


def _over(visit: Visit, book: Runbook) -> dict[str, int]:
    """The agreed end: asked once, in place of an open question; not of who is only tidying up."""
    question = visit.question
    if (
        visit.state != "running"
        or visit.agreed_end is None
        or visit.over_asked
        or question is None
        or question.late
        or tidying(visit, book)
        or visit.back.walking
    ):
        return {}
    return {"over": visit.agreed_end}


def _question(visit: Visit, policy: Policy) -> dict[str, int]:
    question = visit.question
    if question is None or question.late:
        return {}  # when late, the call it became has a deadline of its own
    if question.last is None or question.asked_at is None:
        return {"undelivered": question.made_at + policy.undelivered + question.extra}
    due = {"window": question.last}
    if visit.paused_until is not None:
        return {"unpause": visit.paused_until, **due}
    if not question.nudged and not question.reported:
        wanted = question.nudge_at
        if wanted is None:
            wanted = question.asked_at + question.checkpoint + max(0, question.extra)
        due["nudge"] = min(wanted, latest_nudge(question, policy))
    if question.kind == "consent" or visit.state == "agreed":  # asked at home: not at night
        due = {k: out_of_quiet(at, visit.site.tz, policy) for k, at in due.items()}
        if due.get("nudge") == due["window"]:
            del due["nudge"]
    return due


def latest_nudge(question: Question, policy: Policy) -> int:
    """The latest we may ask again, so that there is time to answer before silence is a call.

    While delivery is not confirmed it counts from when the question was made.
    """
    last = question.last
    if last is None:
        last = question.made_at + question.window + question.extra
    return last - min(policy.grace, question.window // 4)
