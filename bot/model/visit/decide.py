"""The visit decides: a fact and the snapshot give events and messages. Pure."""

from bot.model.calls.life import clear
from bot.model.calls.ways import way_failed
from bot.model.context import Context
from bot.model.decision import Decision
from bot.model.fact import (
    AccountChanged,
    AnyFact,
    Deleted,
    Delivered,
    Due,
    Gap,
    Joined,
    Ordered,
    Planned,
    Pressed,
    Registered,
    Said,
    Told,
    Undeliverable,
)
from bot.model.visit import event as e
from bot.model.visit import morning_after
from bot.model.visit.asks import rearm
from bot.model.visit.back_out import keep_noticed
from bot.model.visit.due import due, person_away, unreachable
from bot.model.visit.edges import joined
from bot.model.visit.hearing import deleted, said
from bot.model.visit.moved import arrives, assigned, swapped
from bot.model.visit.orders import ordered
from bot.model.visit.outage import gap
from bot.model.visit.planning import planned
from bot.model.visit.presses import pressed
from bot.model.visit.ready_gate import line_lost
from bot.model.visit.registering import registered
from bot.model.visit.returns import after_morning
from bot.model.visit.spares import given_away, settle_swap
from bot.model.visit.state import Visit
from bot.model.visit.steps import interrupted
from bot.model.visit.turn import Turn
from bot.model.visit.walk import go_on, wait_for_wave, wave_resumed

_MOVED = {"assigned": assigned, "swap": swapped, "arrives": arrives, "given_away": given_away}


def decide(visit: Visit | None, fact: AnyFact, context: Context) -> Decision[Visit] | None:
    """What ``fact`` leads to; ``None`` when there is no such visit and the fact makes none."""
    turn = Turn(visit, fact, context)
    if visit is None and not isinstance(fact, Planned):
        return None
    _dispatch(turn, fact)
    _keep_going(turn)
    keep_noticed(turn)
    morning_after.plan(turn)
    if visit is not None:
        after_morning(turn)
    if visit is not None and turn.visit.spares.swaps:
        settle_swap(turn)
    return turn.decision()


def _keep_going(turn: Turn) -> None:
    """Nobody is forgotten: a visit under way has a question, or a call that somebody gets."""
    visit = turn.visit
    if visit.state != "running" or visit.blocked or visit.waits_hold:
        return
    if visit.question is None:
        go_on(turn)
    elif visit.question.late and all(c.cleared_at is not None for c in visit.open_calls):
        rearm(turn)


def _dispatch(turn: Turn, fact: AnyFact) -> None:
    match fact:
        case Said():
            said(turn, fact)
        case Deleted():
            deleted(turn, fact)
        case Joined():
            joined(turn, fact)
        case Pressed():
            pressed(turn, fact)
        case Registered():
            registered(turn, fact)
        case Due():
            due(turn, fact)
        case Delivered():
            _delivered(turn, fact)
        case Undeliverable():
            _undeliverable(turn, fact)
        case Planned():
            planned(turn, fact)
        case Ordered():
            ordered(turn, fact)
        case Gap():
            gap(turn, fact)
        case Told():
            _told(turn, fact)
        case AccountChanged():
            _account(turn, fact)


def _delivered(turn: Turn, fact: Delivered) -> None:
    question = turn.visit.question
    if question is not None and question.message == fact.message and question.asked_at is None:
        turn.emit(e.QuestionArrived(question.id, fact.stamp, fact.claimed_at))
        for call in turn.visit.open_calls:
            if call.cause == "unreachable":
                clear(turn, call, "delivered")
        rearm(turn)
    else:
        asked = question is not None and question.asked_at is not None
        ours = asked and fact.thread.startswith(("site:", "private:"))
        turn.emit(e.MessageArrived(fact.message, fact.template, fact.stamp if ours else ""))
    if fact.root and fact.stamp:
        turn.index("thread", f"{fact.channel}:{fact.stamp}")


def _undeliverable(turn: Turn, fact: Undeliverable) -> None:
    turn.emit(e.NotDelivered(fact.message, fact.why))
    way_failed(turn, fact.message)
    question = turn.visit.question
    if question is not None and question.message == fact.message:
        if fact.why.startswith("person:"):
            person_away(turn)
        else:
            unreachable(turn)
    elif fact.template == "deputy_ask" and question is not None and not question.late:
        unreachable(turn)
    line_lost(turn, fact.template)


def _told(turn: Turn, fact: Told) -> None:
    held = turn.context.held  # what holds now counts: what was told may be late
    if fact.what == "held" and held:
        visit = turn.visit
        under_way = visit.state == "running" and not interrupted(visit, turn.context.book)
        if under_way and not visit.blocked:
            wait_for_wave(turn)
    elif fact.what == "resumed" and not held:
        wave_resumed(turn)
    elif fact.what in _MOVED:
        _MOVED[fact.what](turn, fact)
    else:
        turn.answer = "nothing"


def _account(turn: Turn, fact: AccountChanged) -> None:
    visit = turn.visit
    people = [p for p in (visit.contact, visit.deputy) if p is not None and p.user == fact.user]
    if not people:
        turn.answer = "nothing"
        return
    if all(p.disabled == fact.disabled for p in people):
        turn.emit(e.AccountRenamed(fact.user))
        return
    turn.emit(e.AccountSet(fact.user, fact.disabled))
    if fact.user != visit.contact.user:
        if fact.disabled and visit.contact.disabled and _waits_for_deputy(visit):
            unreachable(turn)
        return
    if not fact.disabled:
        for call in visit.open_calls:
            if call.cause == "unreachable":
                clear(turn, call, "account")
        rearm(turn)
        if _waits_for_deputy(turn.visit):
            turn.emit(e.Rearmed(turn.visit.question.id if turn.visit.question else ""))
    elif visit.live and visit.state not in ("done", "rebook", "backed_out"):
        person_away(turn)


def _waits_for_deputy(visit: Visit) -> bool:
    question = visit.question
    if question is None or question.asked_at is None:
        return False
    return question.deputy_asked and not question.late
