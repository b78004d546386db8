"""What happens when a deadline of the visit comes."""

from bot.model.calls.life import on_due, raise_call
from bot.model.fact import Due
from bot.model.message import NUDGE
from bot.model.policy import minutes
from bot.model.runbook import Cause
from bot.model.visit import (
    back_out,
    back_walk,
    care,
    checking,
    handing_leave,
    more_time,
    morning_after,
    ready_asks,
    ready_gate,
    returns,
    spares,
    takeover,
)
from bot.model.visit import event as e
from bot.model.visit.asks import ask_own, buttons, particulars
from bot.model.visit.catching_up import catch_up_aside
from bot.model.visit.doubt import unanswered
from bot.model.visit.quiet import missed, quiet
from bot.model.visit.registering import went_silent
from bot.model.visit.state import Question, Unit
from bot.model.visit.steps import all_registered, current, length, steps
from bot.model.visit.timing import deadlines
from bot.model.visit.turn import Turn
from bot.model.visit.walk import begin, enter, finish, wave_resumed
from bot.model.visit.watching import soak_over


def due(turn: Turn, fact: Due) -> None:
    """Act on the deadline ``fact.kind``, if it is really due as the visit stands now."""
    stands = deadlines(turn.visit, turn.context.book, turn.context.policy)
    at = stands.get(fact.kind)
    if at is None or at > turn.at:
        turn.answer = "nothing"
        return
    kind, _, name = fact.kind.partition(":")
    if kind == "call":
        on_due(turn, name)
    elif kind == "watch":
        _watch(turn, turn.visit.units[int(name)])
    elif kind == "return":
        returns.remind(turn, int(name))
    elif kind == "alive":
        went_silent(turn, turn.visit.units[int(name)])
    else:
        _RULES[kind](turn)


def _invite(turn: Turn) -> None:
    turn.emit(e.StateSet("invited"))
    enter(turn, 0)


def _begin(turn: Turn) -> None:
    """The start has come. Who never said yes is not surprised with a box and a cable."""
    if turn.visit.state == "planned":
        turn.emit(e.StateSet("agreed", "the runbook asks for no consent"))
    if turn.visit.state == "agreed":
        begin(turn)
        return
    stage = current(turn.visit, turn.context.book).stage
    turn.emit(e.StateSet("rebook", "no consent before the start"))
    raise_call(turn, "not_started", stage=stage.id)
    turn.say("not_started")


def _held(turn: Turn) -> None:
    """Still held. Past the time the site has, the admin finds another evening for it."""
    visit, context = turn.visit, turn.context
    if not context.held:  # what told us so has not come yet
        wave_resumed(turn)
        return
    evening = visit.start + length(context.book, visit.site) + context.policy.slack
    if turn.at >= min(visit.end or evening, evening):
        turn.emit(e.StateSet("rebook", "held for too long"))
        raise_call(turn, "not_started", stage=current(visit, context.book).stage.id)
        turn.say("held_too_long")
        return
    turn.emit(e.HoldMet())
    turn.say("held_still", key="held")


def _watch(turn: Turn, unit: Unit) -> None:
    """A call about it was closed too soon: it is called again, unless that is seen to."""
    if turn.visit.back.out:
        turn.emit(e.UnitWatched(unit.serial, None))  # it is being taken out of service
        return
    busy = turn.visit.state == "running" or any(
        c.cleared_at is None and c.unit in ("", unit.serial) for c in turn.visit.open_calls
    )
    if busy:
        turn.emit(e.UnitWatched(unit.serial, turn.at + turn.context.policy.watch))
        return
    turn.emit(e.UnitWatched(unit.serial, None))
    raise_call(
        turn, "lost" if unit.registered_at is not None else "no_registration", unit=unit.serial
    )


def _link(turn: Turn) -> None:
    step = current(turn.visit, turn.context.book)
    turn.emit(e.LinkOverdue())
    raise_call(turn, "without_service", stage=step.stage.id, unit=step.unit)
    turn.tell_wave("without_service")


def _over(turn: Turn) -> None:
    """The agreed end: ask before going on, in place of the open question."""
    question = turn.visit.question
    turn.emit(e.OverAsked())
    if question is None:
        return
    turn.emit(e.QuestionClosed(question.id, "past the agreed end", False))
    ask_own(turn, "over", "choice", checkpoint=5, window=15)


def person_away(turn: Turn) -> None:
    """The contact's account takes no messages: the deputy is asked, else a person is called."""
    question = turn.visit.question
    if question is None or not _ask_deputy(turn, question):
        unreachable(turn)


def _ask_deputy(turn: Turn, question: Question) -> bool:
    """Ask the deputy, once for each question, where there is one; the call waits meanwhile."""
    if quiet(turn.visit, turn.context.book):
        return False  # they may be in the same vehicle
    contact, deputy = turn.visit.contact, turn.visit.deputy
    if question.deputy_asked or deputy is None or deputy.disabled or deputy.user == contact.user:
        return False
    wait = minutes(turn.context.book.limits.deputy_asked)
    due = question.last
    if due is None:  # it never arrived
        due = question.made_at + turn.context.policy.undelivered + question.extra
    turn.emit(e.DeputyAsked(question.id, turn.at + wait - due))
    turn.say_to(deputy, "deputy_ask", link=turn.link)
    catch_up_aside(turn, deputy)
    return True


def silent_alone(turn: Turn) -> None:
    """Somebody alone was not heard by the time agreed: the deputy, or else a person, looks."""
    question = turn.visit.question
    if question is not None:
        if _ask_deputy(turn, question):
            return
        turn.emit(e.WindowPassed(question.id))
    step = current(turn.visit, turn.context.book)
    raise_call(turn, "silent", stage=step.stage.id, unit=step.unit)


def unreachable(turn: Turn) -> None:
    """A question cannot be brought to the contact: a person must."""
    step = current(turn.visit, turn.context.book)
    if turn.visit.question is not None:
        turn.emit(e.WindowPassed(turn.visit.question.id))
    raise_call(turn, "unreachable", stage=step.stage.id, unit=step.unit)


def _nudge(turn: Turn) -> None:
    """One reminder, with the one thing to look at."""
    question = turn.visit.question
    if question is None:
        return
    turn.emit(e.Nudged(question.id))
    turn.say(
        question.nudge,
        buttons=buttons(question, turn.context.book),
        urgency=NUDGE,
        key="question",
        not_after=question.last,
        **particulars(turn, question),
    )


def _window(turn: Turn) -> None:
    """Silence past the window becomes a call, after the deputy was asked once."""
    question = turn.visit.question
    if question is None:
        return
    if ready_asks.is_ours(question):
        ready_asks.unanswered(turn, question)
        return
    if turn.visit.back.walking:
        if not _ask_deputy(turn, question):
            back_walk.silent(turn)
        return
    step = current(turn.visit, turn.context.book)
    last = turn.visit.step + 1 == len(steps(turn.context.book, turn.visit))
    if last and not (step.unit or step.item) and all_registered(turn.visit):
        finish(turn, signed=False)  # everything runs; a missing goodbye wakes nobody
        return
    cause = _cause(turn, question)
    route = turn.context.book.route(cause)
    if route.first == "deputy" and _ask_deputy(turn, question):
        return
    if turn.visit.contact.disabled:
        unreachable(turn)
        return
    seen = turn.visit.lights[-1][1] if turn.visit.lights else ""
    turn.emit(e.WindowPassed(question.id))
    raise_call(turn, cause, stage=step.stage.id, unit=step.unit, seen=seen)
    if cause in ("fault", "no_registration", "dead_line"):
        turn.say(f"called_{cause}")


def _cause(turn: Turn, question: Question) -> Cause:
    """Why nothing came: not begun, silent, stuck at a light, or no registration."""
    if question.kind in ("consent", "begin") or question.ask == "parked":
        return "not_started"
    if question.ask == "over":
        return "over_time"
    if missed(turn.visit):
        return "silent"  # whatever the light shows: they are looked for
    step = current(turn.visit, turn.context.book)
    if not turn.visit.lights or step.item:
        return "silent"
    stage = step.stage
    seen = stage.lights.get(turn.visit.lights[-1][1])
    if seen is not None and seen.do in ("check_cable", "check_power", "call"):
        return seen.cause
    unanswered = question.nudged and not question.reported
    if unanswered and (seen is None or seen.do == "wait"):
        return "silent"  # all was as it should be, and then nobody answered any more
    return "no_registration" if stage.waits_for_registration else "fault"


_RULES = {
    "danger_ask": unanswered,
    "invite": _invite,
    "begin": _begin,
    "held": _held,
    "link": _link,
    "over": _over,
    "undelivered": unreachable,
    "nudge": _nudge,
    "window": _window,
    "unpause": more_time.pause_over,
    "helper": takeover.overdue,
    "soak": soak_over,
    "ready_ask": ready_asks.ask_due,
    "ready_deputy": ready_asks.deputy_due,
    "ready_team": ready_gate.team_due,
    "ready_put_off": ready_gate.put_off_due,
    "swap": spares.remind,
    "back_ask": back_out.ask,
    "back_latest": back_out.late,
    "back_watch": back_out.still_down,
    "driving": care.driving_too_long,
    "check_in": care.check_in,
    "handing": handing_leave.overdue,
    "morning": morning_after.due,
    "checks": checking.not_tried,
}
