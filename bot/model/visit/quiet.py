"""When nothing may be sent to a site: a message to a driver can kill."""

from bot.model.message import Message
from bot.model.people import mail_thread
from bot.model.policy import minutes
from bot.model.runbook import Runbook
from bot.model.visit.state import Visit

#: How long before the agreed check-in time somebody who is alone is reminded of it.
REMINDED_BEFORE = minutes(3)
#: How long after an absence of ours they still have to write.
AFTER_ABSENCE = minutes(6)


#: The question whether a mobile branch is parked, and what opens a thread.
_MAY_GO = frozenset(("parked", "root"))


def held_back(message: Message, visit: Visit) -> bool:
    """Whether it is one of those that somebody who drives does not get."""
    if message.template in _MAY_GO:
        return False
    people = [p for p in (visit.contact, visit.deputy) if p is not None]
    ways = [f"site:{visit.id}", *(f"user:{p.user}" for p in people)]
    ways += [mail_thread(p.key) for p in people]
    return message.thread in ways


def driving(visit: Visit) -> bool:
    """Whether somebody of the site has said that they drive, and not yet that they stand."""
    return visit.care.driving_since is not None


def missed(visit: Visit) -> bool:
    """Whether somebody who is alone was not heard by the time agreed, nor since."""
    return visit.care.company == "alone" and visit.care.check_in is None


def may_drive(visit: Visit, book: Runbook) -> bool:
    """Whether it is a mobile branch of which we do not know that it is parked: it was said this
    evening, and on other days nobody asks."""
    parked = visit.state == "running" and visit.care.parked_at is not None
    return visit.site.vehicle and book.cautions is not None and not parked


def must_park(visit: Visit, book: Runbook) -> bool:
    """Whether the visit is under way and has first to be parked."""
    return visit.state == "running" and may_drive(visit, book)


def quiet(visit: Visit, book: Runbook) -> bool:
    """Whether the site gets no message now but the safety answer and the one question that asks
    whether it is parked."""
    if visit.in_danger:
        return False  # what is said of danger is always said
    return driving(visit) or must_park(visit, book)


def care_deadlines(visit: Visit, book: Runbook) -> dict[str, int]:
    """Of somebody who drives, and of somebody who is alone."""
    care, cautions = visit.care, book.cautions
    if cautions is None or visit.state != "running":
        return {}
    if care.driving_since is not None:
        return {"driving": care.driving_due}
    if care.check_in is not None:
        early = 0 if care.check_in_asked else REMINDED_BEFORE
        back = (visit.counted_until or 0) + AFTER_ABSENCE  # while we were away nobody was heard
        return {"check_in": max(care.check_in, back) - early}
    return {}
