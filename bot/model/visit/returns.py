"""Old units on their way back: kept until the morning shows that all works, then sent, and wiped.

The site is told once that carton and packing may go; it gives the tracking number in its own words,
or an admin does. Who does not send is reminded kindly, in the runbook's days; then the admins are
told, again and again. Arrival and wiping are confirmed by the team.
"""

import re

from bot.model.fact import Ordered
from bot.model.policy import minutes
from bot.model.serial import normal
from bot.model.visit import spares_events as s
from bot.model.visit.answers import raise_and_say
from bot.model.visit.listening import Words
from bot.model.visit.morning import morning_passed
from bot.model.visit.ready_asks import seen_damaged
from bot.model.visit.spares_state import Return
from bot.model.visit.state import Visit
from bot.model.visit.turn import Turn

_DAY = 24 * 60
#: A number of a parcel: in one piece with at least six digits, or digits in groups, with a few
#: letters before and behind.
_TRACKING = re.compile(
    r"\b(?=(?:[A-Z]*\d){6})[A-Z0-9]{8,34}\b"
    r"|\b(?:[A-Z]{1,4}[ -])?\d{2,}(?:[ -]?\d){6,28}(?:[ -][A-Z]{2})?\b"
)
_BEFORE_PLUGGED = ("invited", "agreed", "running")


def damaged(turn: Turn, words: Words) -> bool:
    """A box that came damaged is not plugged in: a person sees to another one."""
    visit, returns = turn.visit, turn.context.book.returns
    if returns is None or visit.state not in _BEFORE_PLUGGED or visit.out_of_service:
        return False
    if not returns.says_damaged(words.fact.words):
        return False
    if seen_damaged(turn):
        return True
    serial = visit.question.unit if visit.question else ""
    raise_and_say(turn, "damaged", "box_damaged", seen=serial)
    return True


def after_morning(turn: Turn) -> None:
    """The site has said on the morning after that all works, and the visit is done."""
    visit = turn.visit
    if visit.morning.answer != "yes" or visit.state != "done" or turn.context.book.returns is None:
        return
    if morning_passed(visit) and not any(one.what == "old" for one in visit.spares.returns):
        before = turn.answer
        old_may_go(turn)
        turn.answer = before


def old_may_go(turn: Turn) -> str:
    """The morning after has shown that all works: what is to go back is asked for, once."""
    visit, book = turn.visit, turn.context.book
    if book.returns is None or visit.state not in ("done", "watched"):
        return "nothing"
    if not any(one.what == "old" for one in visit.spares.returns):
        turn.emit(s.ReturnOpened("", "old"))
    waiting = [one for one in turn.visit.spares.returns if one.stage == "stays"]
    if not waiting:
        return "nothing"
    due = turn.at + minutes(book.returns.remind_days[0] * _DAY)
    for one in waiting:
        turn.emit(s.ReturnAsked(one.serial, due if one is waiting[0] else None))
    turn.say("returns_packing")
    turn.say("returns_send")
    return "ok"


def remind(turn: Turn, number: int) -> None:
    """A kind reminder; when there were enough of them the admins are told, in the same pace."""
    returns = turn.context.book.returns
    one = turn.visit.spares.returns[number]
    days = returns.remind_days if returns is not None else (7.0,)
    last = one.reminded >= len(days)
    pause = days[min(one.reminded + 1, len(days) - 1)]
    turn.emit(s.ReturnAsked(one.serial, turn.at + minutes(pause * _DAY), again=True))
    if last:
        turn.note("call_return_missing", serial=one.serial or "@x:reason_old_unit")
    else:
        turn.say("returns_reminder")


def tracking_said(turn: Turn, words: Words) -> bool:
    """Words of the site with the number on the label, while we wait for it."""
    found = _TRACKING.search(words.fact.words.upper())
    if found is None or not _asked(turn.visit):
        return False
    _sent(turn, found[0], words.fact.actor.user)
    turn.say("returns_thanks")
    return True


def ordered_return(turn: Turn, fact: Ordered) -> None:
    """The orders *old box may go*, *tracking NUMBER*, *received SERIAL* and *wiped SERIAL*."""
    by, serial = fact.actor.user, fact.args.get("serial", "")
    if fact.order == "old_may_go":
        turn.answer = old_may_go(turn)
    elif fact.order == "tracking" and _asked(turn.visit):
        _sent(turn, fact.args.get("tracking", ""), by)
    elif fact.order in ("return_back", "return_wiped"):
        back = fact.order == "return_back"
        one = _find(turn.visit, serial, back=back)
        if one is None or not fact.actor.admin:
            turn.answer = "nothing" if one is None else "not_yours"
        elif back:
            turn.emit(s.ReturnBack(one.serial, by))
        else:
            turn.emit(s.ReturnWiped(one.serial, by))
    else:
        turn.answer = "nothing"


def _sent(turn: Turn, tracking: str, by: str) -> None:
    for one in _asked(turn.visit):
        turn.emit(s.ReturnSent(one.serial, tracking, by))


def _asked(visit: Visit) -> list[Return]:
    return [one for one in visit.spares.returns if one.stage == "to_send"]


def _find(visit: Visit, serial: str, *, back: bool) -> Return | None:
    """The return that is meant: by its serial, else the only one for which it is still open."""
    opened = [
        one
        for one in visit.spares.returns
        if (one.stage != "back" if back else one.wiped_at is None)
    ]
    if serial:
        wanted = normal(serial)
        return next((one for one in opened if normal(one.serial) == wanted), None)
    return opened[0] if len(opened) == 1 else None
