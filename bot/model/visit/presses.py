"""Buttons: ``a:QUESTION:VALUE``, ``v:QUESTION:WISH``, ``e:CALL:VERB``, ``b:CALL:VERB``,
``s:CALL:VERB``, ``r:START:VERB``, ``h:CODE:VERB``, ``m:QUESTION:VERB``, ``g:CALL:VERB``,
``c:CALL:works``."""

from bot.model.calls.press import press
from bot.model.calls.state import CLEARED_BY_ANSWER, find
from bot.model.fact import Pressed
from bot.model.policy import minutes
from bot.model.visit import (
    care,
    checking,
    corrections,
    handing_over,
    more_time,
    morning_after,
    ready_gate,
    release_now,
)
from bot.model.visit import event as e
from bot.model.visit.answers import answered, raise_and_say, rebook
from bot.model.visit.asks import allowed
from bot.model.visit.back_out import press_back
from bot.model.visit.catching_up import joins_late, told_first
from bot.model.visit.doubt import pressed as pressed_about_danger
from bot.model.visit.hearing import sign_of_life
from bot.model.visit.listening import role_of
from bot.model.visit.outside import UNDER_WAY
from bot.model.visit.spares import press_swap
from bot.model.visit.state import Question
from bot.model.visit.turn import Turn

_SITE = ("contact", "deputy")
_OF_CALLS = ("e", "b", "s")


def pressed(turn: Turn, fact: Pressed) -> None:
    """A button was pressed.

    A press that is too late is no event: one that failed in the chat after it was decided is
    pressed again, and that must leave no trace.
    """
    kind, _, rest = fact.action.partition(":")
    name, _, value = rest.partition(":")
    user, role = fact.actor.user, role_of(turn, fact.actor)
    if kind == "h":
        handing_over.pressed(turn, fact, role)
        return
    if pressed_about_danger(turn, fact, role):
        return
    if kind == "m":
        morning_after.pressed(turn, fact, role)
        return
    if kind == "g":
        release_now.pressed(turn, fact)
        return
    if kind == "r":
        ready_gate.pressed(turn, fact, name, value, role)
        return
    if kind == "c":
        checking.pressed(turn, fact, role, name, value)
        return
    if kind == "a" and role in _SITE and corrections.second_presses(turn, user, name, value):
        turn.emit(e.Heard(user, role, "press", fact.action))
        corrections.doubt(turn)
        return
    if role in _SITE and care.pressed_parked(turn, fact.action):
        turn.emit(e.Heard(user, role, "press", fact.action))
        sign_of_life(turn)
        care.stopped(turn, user)
        return
    if _too_late(turn, kind, name) and not (role in _SITE and _missed(turn)):
        was_call = kind in _OF_CALLS and find(turn.calls, name) is not None
        turn.answer = "not_yours" if role == "stranger" else "call_over" if was_call else "stale"
        return
    newcomer = role in _SITE and kind not in _OF_CALLS and joins_late(turn, user)
    turn.emit(e.Heard(user, role, "press", fact.action))
    if kind == "e":
        turn.answer = press(turn, fact.actor, name, value)
    elif kind == "s":
        turn.answer = press_swap(turn, fact.actor, name, value)
    elif kind == "b":
        turn.answer = press_back(turn, fact.actor, name, value)
    elif role == "stranger":
        turn.answer = "not_yours"
    else:
        if role in _SITE:
            sign_of_life(turn)
        _open(turn, kind, name, value, newcomer=newcomer)


def _open(turn: Turn, kind: str, name: str, value: str, *, newcomer: bool) -> None:
    """A button of the open question, if it is one."""
    question = turn.visit.question
    if question is None or question.id != name:
        turn.answer = "stale"
        return
    if care.pressed_while_quiet(turn, question, turn.speaker):
        return
    if newcomer:
        told_first(turn)
    if kind == "v":
        _wish(turn, question, value)
    elif kind == "a" and value in allowed(question, turn.context.book):
        if turn.visit.paused_until is not None:
            more_time.end_pause(turn)
        answered(turn, question, value)
    else:
        turn.answer = "stale"


def _too_late(turn: Turn, kind: str, name: str) -> bool:
    """Whether a button belongs to a call that is closed, or to no question that is open."""
    if kind in _OF_CALLS:
        call = find(turn.calls, name)
        return call is None or not call.open
    return turn.visit.question is None or turn.visit.question.id != name


def _missed(turn: Turn) -> bool:
    """Whether somebody of the site was silent for too long, so that any press is news."""
    question = turn.visit.question
    silent = any(c.cause in CLEARED_BY_ANSWER and not c.cleared_at for c in turn.visit.open_calls)
    return turn.visit.state in UNDER_WAY and (silent or bool(question and question.late))


def _wish(turn: Turn, question: Question, wish: str) -> None:
    paused = turn.visit.paused_until is not None
    if wish == "unpause":
        if paused:
            more_time.unpause(turn)
        else:
            turn.answer = "stale"
        return
    if paused:
        more_time.end_pause(turn)
    match wish:
        case "help":
            raise_and_say(turn, "help", "help_coming")
        case "fine":
            care.fine(turn)
        case "latest":
            more_time.latest(turn, question)
        case "other_evening":
            rebook(turn, "other_evening")
        case "more10" | "more20":
            more_time.later(turn, turn.at + minutes(int(wish.removeprefix("more"))))
        case _:
            turn.answer = "stale"
