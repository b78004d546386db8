"""Progress reports of a unit (RFC 8572): what they move, and whom they call."""

from bot.model.calls.life import raise_call
from bot.model.fact import Registered
from bot.model.policy import minutes
from bot.model.progress import ERRORS, IMAGE, MOVES, WARNINGS
from bot.model.visit import event as e
from bot.model.visit.state import Question, Unit
from bot.model.visit.steps import Step, current
from bot.model.visit.turn import Turn

_WORDS = 200  # characters of a unit's message that a call shows


def progressed(turn: Turn, fact: Registered, unit: Unit) -> None:
    """Steps that begin and end move the times of the stage, warnings are noted, errors call.

    Each type moves the times of a stage once: a unit that goes round in circles is noticed.
    """
    question = _watching(turn, unit)
    fresh = question is not None and fact.progress not in turn.visit.reports
    moves = fresh and fact.progress in MOVES | IMAGE
    turn.emit(e.UnitProgress(unit.serial, fact.progress, fact.message, moves))
    if turn.visit.back.out:
        turn.answer = "nothing"  # for the record: it is being taken out of service
    elif fact.progress in ERRORS:
        _failed(turn, fact, unit)
    elif question is None or not moves:
        turn.answer = "ok" if fact.progress in WARNINGS else "nothing"
    elif fact.progress in IMAGE and not IMAGE & set(turn.visit.reports[:-1]):
        _image(turn, fact, question)
    else:
        _from_now(turn, fact, question)


def _watching(turn: Turn, unit: Unit) -> Question | None:
    """The open question, where it is about this unit with its power on and its times count."""
    question = turn.visit.question
    if turn.visit.state != "running" or turn.visit.blocked or question is None:
        return None
    step: Step = current(turn.visit, turn.context.book)
    own = any(ask.id == question.ask for ask in step.stage.asks)
    if step.unit != unit.serial or not step.stage.powered or not own:
        return None
    return question if question.asked_at is not None and not question.late else None


def _from_now(turn: Turn, fact: Registered, question: Question) -> None:
    """The unit gets on: checkpoint and window count from its report."""
    extra = turn.at - (question.asked_at or turn.at) - question.extra
    if extra > 0:
        turn.emit(e.WindowExtended(extra, fact.progress))


def _image(turn: Turn, fact: Registered, question: Question) -> None:
    """It loads other software first: longer by the runbook's time, and the contact hears why."""
    longer = turn.context.book.limits.image
    if longer is None:
        _from_now(turn, fact, question)
        return
    turn.emit(e.WindowExtended(minutes(longer), fact.progress))
    now = turn.visit.question or question
    until = (now.asked_at or turn.at) + now.checkpoint + now.extra
    turn.say("image_longer", longer=minutes(longer), until=max(until, turn.at), key="wait")


def _failed(turn: Turn, fact: Registered, unit: Unit) -> None:
    """The unit has given up. Whoever is called reads what it says."""
    seen = f"{fact.progress}: {fact.message}" if fact.message else fact.progress
    running = turn.visit.state == "running"
    stage = current(turn.visit, turn.context.book).stage.id if running else ""
    before = turn.visit.open_calls
    call = raise_call(turn, "fault", stage=stage, unit=unit.serial, seen=seen[:_WORDS])
    stopped = turn.visit.stopped_at is not None  # then only the danger is spoken of
    if running and not stopped and call.id not in {one.id for one in before}:
        turn.say("called_unit_fault")
