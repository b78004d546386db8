"""Another date for a site: planned anew by an order, with all that is known of the place kept.

The invitation goes out again in its time, since a yes was to the old evening.
"""

import re
from datetime import datetime
from zoneinfo import ZoneInfo

from msgspec.structs import replace

from bot.model.calls.state import Call
from bot.model.fact import Ordered
from bot.model.policy import minutes, out_of_quiet
from bot.model.visit.planning import set_plan
from bot.model.visit.ready import LASTING, OF_UNITS
from bot.model.visit.ready_events import DateSet
from bot.model.visit.state import Plan, Unit, Visit
from bot.model.visit.steps import asks_for
from bot.model.visit.timing import invite_at
from bot.model.visit.turn import Turn

#: As an order writes it, by the site's own clock; the offset only where a clock change asks for it.
_WRITTEN = re.compile(
    r"(\d{4}-\d{2}-\d{2})[ T](\d{2}:\d{2})(?: ?(?:-|to|until) ?(\d{2}:\d{2}))?( ?[+-]\d{2}:\d{2})?"
)
#: Nothing is planned for sooner than this: the contact must be asked.
_SOONEST = minutes(30)
_DAY = minutes(24 * 60)
#: States of a visit that needs no other date.
_OVER = ("done", "watched")


class NoDate(Exception):
    """``answer`` says why: ``bad_date`` or ``no_such_time`` (see ``Decision``)."""

    def __init__(self, answer: str) -> None:
        super().__init__(answer)
        self.answer = answer


def ordered_date(turn: Turn, fact: Ordered) -> None:
    """The order ``new_date``: ``when`` is a date and time of the site, as 2026-03-19 18:00."""
    try:
        start, end = read_date(fact.args.get("when", ""), turn.visit.site.tz)
    except NoDate as error:
        turn.answer = error.answer
        return
    new_date(turn, start, end, by=fact.actor.user)


def read_date(text: str, tz: str) -> tuple[int, int | None]:
    """Start, and the end of the change window where it is given (``18:00-22:00``), in ms UTC.

    Raises ``NoDate`` for what is no date, or a time that the site's clock never or twice shows.
    """
    found = _WRITTEN.fullmatch(" ".join(text.split()))
    if found is None:
        raise NoDate("bad_date")
    day, clock, until, offset = found.groups()
    start = _instant(f"{day}T{clock}", (offset or "").strip(), tz)
    if until is None:
        return start, None
    end = _instant(f"{day}T{until}", (offset or "").strip(), tz)
    return start, end if end > start else end + _DAY


def _instant(written: str, offset: str, tz: str) -> int:
    try:
        local = datetime.fromisoformat(f"{written}{offset}")
    except ValueError:
        raise NoDate("bad_date") from None
    if local.tzinfo is not None:
        return int(local.timestamp() * 1000)
    place = ZoneInfo(tz)
    first, second = (int(local.replace(tzinfo=place, fold=f).timestamp()) for f in (0, 1))
    if first != second:  # the clocks change over it: never or twice
        raise NoDate("no_such_time")
    return first * 1000


def new_date(turn: Turn, start: int, end: int | None = None, *, by: str) -> bool:
    """Plan the visit anew from ``start`` on (ms UTC); the window keeps its length without ``end``.

    Refused, with the reason as the answer, for a visit that is over, stopped for danger or
    without its line, and for a time that leaves none to ask the contact.
    """
    visit = turn.visit
    turn.answer = _refused(visit, turn.at, start)
    if turn.answer != "ok":
        return False
    before = visit.start
    if end is None and visit.end is not None:
        end = start + visit.end - before
    set_plan(turn, _as_known(visit, start, end))
    turn.emit(DateSet(by, before, start))
    turn.tell_wave("new_date")
    _tell_contact(turn)
    return True


def _as_known(visit: Visit, start: int, end: int | None) -> Plan:
    """What the list said of the units holds for those it named; of the people it is asked anew."""
    same = visit.serials == visit.ready.listed
    holds = LASTING if same else LASTING - OF_UNITS
    site = replace(visit.site, ready=tuple(item for item in visit.site.ready if item in holds))
    units = (Unit(u.serial, u.model, u.version, accepted=u.accepted) for u in visit.units)
    return Plan(
        site=site,
        units=tuple(units),  # those that registered stay so, as with any plan
        contact=visit.contact,
        deputy=visit.deputy,
        start=start,
        end=end,
        channel=visit.channel,
    )


def _refused(visit: Visit, at: int, start: int) -> str:
    if visit.in_danger or visit.state in _OVER:
        return "nothing"
    under_way = visit.state == "running" and visit.out_of_service
    if under_way or any(_without_service(call) for call in visit.open_calls):
        return "line_down"
    return "past_date" if start < at + _SOONEST else "ok"


def _without_service(call: Call) -> bool:
    return call.cause == "without_service" and call.cleared_at is None


def _tell_contact(turn: Turn) -> None:
    """Who was told of the old date hears of the new one, unless the invitation comes at once."""
    visit, book, policy = turn.visit, turn.context.book, turn.context.policy
    if not visit.thread or visit.state != "planned" or not asks_for(book, "consent"):
        return
    by_day = out_of_quiet(turn.at, visit.site.tz, policy) == turn.at
    if by_day and invite_at(visit, book, policy) > turn.at:
        turn.say("new_date", start=visit.start)
