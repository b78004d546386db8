"""Cautions said at their stage; a mobile branch parked first; nobody alone without a check-in time.

Being silent past an open question's window calls deputy and on-call already. What is added here
counts also while no answer is waited for: when they only have to watch, or paused.
"""

from bot.model.calls.life import raise_call
from bot.model.message import NUDGE, Button
from bot.model.policy import minutes
from bot.model.runbook import Stage
from bot.model.runbook_cautions import Cautions
from bot.model.visit.asks import ask_own, put_again
from bot.model.visit.care_events import (
    CautionsSaid,
    CheckInAsked,
    CheckInMoved,
    CompanySaid,
    DrivingSaid,
    DrivingTooLong,
    ParkedSaid,
)
from bot.model.visit.listening import Words
from bot.model.visit.quiet import driving, must_park, quiet
from bot.model.visit.state import Question
from bot.model.visit.steps import current
from bot.model.visit.turn import Turn

#: The answers of our two own questions.
PARKED, DRIVING = "parked", "driving"
WITH_OTHERS, ALONE = "with_others", "alone"
#: What is acted on although they drive: a person is called, and the site hears nothing.
_URGENT = ("help", "stop")
#: Beside "I am alone here", what says nothing more.
_NOTHING_MORE = frozenset(("unclear", "small_talk", "thanks", "seen"))


# --- cautions ----------------------------------------------------------------------------


def cautions_now(turn: Turn, stage: Stage) -> tuple[str, ...]:
    """The cautions to be said below the stage's first text; once in a visit."""
    cautions = turn.context.book.cautions
    due = cautions.at(stage.id) if cautions is not None else ()
    if cautions is None or not due or stage.id in turn.visit.care.said:
        return ()
    turn.emit(CautionsSaid(stage.id))
    if stage.id in cautions.apart:
        first, *others = due
        turn.say(first, beside=tuple(others))
        return ()
    return due


# --- driving and parked ------------------------------------------------------------------


def parks_first(turn: Turn) -> bool:
    """Whether a mobile branch has first to say that it is parked; then that is asked, once."""
    if driving(turn.visit):
        return True
    cautions = turn.context.book.cautions
    if cautions is None or not must_park(turn.visit, turn.context.book):
        return False
    if turn.visit.question is None:
        within = cautions.parked_within
        ask_own(turn, "parked", "choice", checkpoint=within, window=within)
    return True


def hears(turn: Turn, words: Words) -> bool:
    """Whether words of the site were about driving, parking or being alone, and nothing else is
    to be done with them."""
    cautions = turn.context.book.cautions
    if cautions is None or turn.visit.stopped_at is not None:
        return False
    said = words.fact.words
    if cautions.says("driving", said):
        return _drives(turn, cautions, words)
    if quiet(turn.visit, turn.context.book):
        return _while_quiet(turn, cautions, words)
    if cautions.says("alone", said) and _agrees_check_in(turn, cautions):
        return all(reading.kind in _NOTHING_MORE for reading in words.readings)
    return False


def _drives(turn: Turn, cautions: Cautions, words: Words) -> bool:
    """Nothing is said to somebody who drives, not even that we heard it."""
    if turn.visit.state not in ("invited", "agreed", "running"):
        return False
    if turn.visit.state == "running":
        until = turn.at + minutes(cautions.parked_within)
        turn.emit(DrivingSaid(words.fact.actor.user, until))
    turn.answer = "nothing"
    return not words.has(*_URGENT)


def _while_quiet(turn: Turn, cautions: Cautions, words: Words) -> bool:
    """A mobile branch has to say that it stands; of anybody else any word says it."""
    question = turn.visit.question
    asked = question is not None and question.ask == "parked"
    chosen = [r.value for r in words.readings if r.kind == "choice" and not r.ask] if asked else []
    if DRIVING in chosen:
        turn.answer = "nothing"
        turn.emit(DrivingSaid(words.fact.actor.user, turn.at + minutes(cautions.parked_within)))
        return True
    if cautions.says("parked", words.fact.words) or PARKED in chosen:
        stopped(turn, words.fact.actor.user)
        return True
    if turn.visit.site.vehicle:
        turn.answer = "nothing"
        return not words.has(*_URGENT)
    turn.emit(ParkedSaid(words.fact.actor.user))
    return False


def pressed_while_quiet(turn: Turn, question: Question, user: str) -> bool:
    """Whether a press is left alone: who has not said that they are parked is not led on."""
    if not driving(turn.visit) or question.ask == "parked":
        return False
    if turn.visit.site.vehicle:
        turn.answer = "nothing"
        return True
    turn.emit(ParkedSaid(user))
    return False


def pressed_parked(turn: Turn, action: str) -> bool:
    """Whether it is the button that says that they are parked, where that is still to be said: it
    counts also when its question was closed meanwhile."""
    kind, _, rest = action.partition(":")
    if kind != "a" or rest.partition(":")[2] != PARKED:
        return False
    open_now = turn.visit.question is not None and turn.visit.question.ask == "parked"
    return not open_now and quiet(turn.visit, turn.context.book)


def answered_parked(turn: Turn, question: Question, value: str) -> None:  # noqa: ARG001
    """The answer to our question, by button or word."""
    cautions = turn.context.book.cautions
    if value == PARKED:
        stopped(turn, turn.speaker)
    elif cautions is not None:
        until = turn.at + minutes(cautions.parked_within)
        turn.emit(DrivingSaid(turn.speaker, until))


def stopped(turn: Turn, by: str) -> None:
    """They stand: what was open is asked anew, or the evening begins."""
    from bot.model.visit.walk import close_question, go_on, set_out

    turn.emit(ParkedSaid(by))
    if turn.visit.state == "rebook":  # which was held back while they drove
        turn.say("rebook_line_down" if turn.visit.out_of_service else "rebook")
    if turn.visit.state != "running":
        return
    question = turn.visit.question
    if turn.visit.waits_hold:
        turn.say("held_wait")  # what was said when it began did not reach them
        return
    if question is not None and question.ask != "parked":
        put_again(turn, question)
        return
    close_question(turn, PARKED, done=False, given=False)
    if turn.visit.begun_at is None:
        set_out(turn)
    else:
        go_on(turn)


def driving_too_long(turn: Turn) -> None:
    """A person is called, never the driver written to."""
    book = turn.context.book
    assert book.cautions is not None
    turn.emit(DrivingTooLong(turn.at + minutes(book.cautions.parked_within)))
    step = current(turn.visit, book)
    begun = turn.visit.begun_at is not None
    raise_call(turn, "silent" if begun else "not_started", stage=step.stage.id, unit=step.unit)


# --- alone -------------------------------------------------------------------------------


def asks_company(turn: Turn) -> bool:
    """At the beginning, where the runbook asks everybody: is somebody with you?"""
    cautions = turn.context.book.cautions
    if cautions is None or cautions.check_in is None or not cautions.check_in.ask:
        return False
    if turn.visit.care.company:
        return False
    ask_own(turn, "company", "choice", checkpoint=5, window=15)
    return True


def answered_company(turn: Turn, question: Question, value: str) -> None:  # noqa: ARG001
    from bot.model.visit.walk import close_question, go_on

    close_question(turn, value, done=False)
    cautions = turn.context.book.cautions
    if value != ALONE or cautions is None:
        turn.emit(CompanySaid(alone=False))
    else:
        _agrees_check_in(turn, cautions)
    go_on(turn)


def _agrees_check_in(turn: Turn, cautions: Cautions) -> bool:
    """They are alone: by when we want to hear of them. False when that is agreed already."""
    if cautions.check_in is None or turn.visit.state != "running":
        return False
    if turn.visit.care.company == "alone":
        return False
    every = minutes(cautions.check_in.every)
    turn.emit(CompanySaid(alone=True, until=turn.at + every))
    turn.say("check_in_agreed", every=every, until=turn.at + every)
    return True


def heard(turn: Turn) -> None:
    """Any word or press of the site: the next check-in counts from now."""
    cautions = turn.context.book.cautions
    if turn.visit.care.company != "alone" or cautions is None or cautions.check_in is None:
        return
    if turn.visit.state == "running":
        turn.emit(CheckInMoved(turn.at + minutes(cautions.check_in.every)))


def fine(turn: Turn) -> None:
    """They pressed that all is well."""
    until = turn.visit.care.check_in
    if until is None:
        turn.answer = "stale"
    else:
        turn.say("check_in_ok", until=until, key="prompt")


def check_in(turn: Turn) -> None:
    """Shortly before the agreed time they are reminded; past it, a person looks for them."""
    visit, question = turn.visit, turn.visit.question
    until = visit.care.check_in
    if not visit.care.check_in_asked and until is not None:
        turn.emit(CheckInAsked())
        well = (Button(f"v:{question.id}:fine", "b_fine", "primary"),) if question else ()
        turn.say("check_in", buttons=well, until=max(until, turn.at), urgency=NUDGE, key="check_in")
        return
    turn.emit(CheckInMoved(None))
    from bot.model.visit.due import silent_alone

    silent_alone(turn)
