"""Going on: from ask to ask, from stage to stage, to the end; and standing still for a hold."""

from bot.model.calls.life import clear
from bot.model.policy import minutes
from bot.model.runbook import Ask
from bot.model.visit import event as e
from bot.model.visit.asks import ask_runbook
from bot.model.visit.steps import Step, current, first_powered, interrupted, steps
from bot.model.visit.turn import Turn


def close_question(turn: Turn, answer: str, *, done: bool = True) -> None:
    """The open question is answered; ``done`` when that settles the runbook's ask."""
    if turn.visit.question is not None:
        turn.emit(e.QuestionClosed(turn.visit.question.id, answer, done))


def go_on(turn: Turn, *, text: str = "") -> None:
    """Ask what comes next, unless something stands in the way."""
    visit = turn.visit
    if visit.blocked or visit.state not in ("invited", "running"):
        return
    if _must_wait(turn):
        wait_for_wave(turn)
        return
    step = current(visit, turn.context.book)
    for ask in step.stage.asks[visit.at_ask :]:
        if _needed(turn, step, ask):
            ask_runbook(turn, step.stage, ask, text=text)
            return
        turn.emit(e.AskSkipped(ask.id))
    enter(turn, turn.visit.step + 1)


def enter(turn: Turn, index: int, *, text: str = "", forced: bool = False) -> None:
    """Enter the step ``index``, past what is done already, and ask; or end the visit.

    ``forced``: even while the wave is held (the unit is online, the rest is tidying up).
    """
    walk = steps(turn.context.book, turn.visit.units)
    while index < len(walk) and _over(turn, walk[index]):
        index += 1
    if index >= len(walk):
        finish(turn)
        return
    if _must_wait(turn) and not forced:
        wait_for_wave(turn)
        return
    step = walk[index]
    turn.emit(e.Entered(index, step.stage.id, step.unit))
    if step.stage.interrupts_service:
        turn.emit(e.LinkDown())
    for ask in step.stage.asks:
        if _needed(turn, step, ask):
            ask_runbook(turn, step.stage, ask, text=text)
            return
        turn.emit(e.AskSkipped(ask.id))
    enter(turn, index + 1, forced=forced)


def begin(turn: Turn) -> None:
    """The evening of the visit: ask whether the contact is there."""
    index = turn.visit.step + 1 if turn.visit.state == "agreed" else turn.visit.step
    if _must_wait(turn):
        wait_for_wave(turn)
        return
    turn.emit(e.StateSet("running"))
    enter(turn, index)


def begun(turn: Turn) -> None:
    """The contact is there: from now the agreed end counts."""
    if turn.visit.begun_at is not None:
        return
    policy, limits = turn.context.policy, turn.context.book.limits
    end = turn.at + minutes(limits.visit) + policy.slack
    if turn.visit.end is not None:
        end = max(turn.at, min(end, turn.visit.end))
    turn.emit(e.Begun(end))


def finish(turn: Turn, *, signed: bool = True) -> None:
    turn.emit(e.VisitEnded(signed))
    turn.say("goodbye")
    turn.tell_wave("done")


def load_again(turn: Turn, serial: str) -> None:
    """Power was lost: the unit starts afresh, and so do the times of its stage."""
    visit, book = turn.visit, turn.context.book
    enter(turn, first_powered(visit, book, serial), text="loading_again")


def wait_for_wave(turn: Turn) -> None:
    """The wave is held: stand still here until it is resumed."""
    if turn.visit.waits_hold:
        return
    turn.emit(e.HoldMet())
    turn.say("held_wait")


def wave_resumed(turn: Turn) -> None:
    if not turn.visit.waits_hold:
        return
    turn.emit(e.HoldLeft())
    for call in turn.visit.open_calls:
        if call.cause == "held":
            clear(turn, call, "resumed")
    if turn.visit.state == "agreed":
        if turn.at >= turn.visit.start:
            begin(turn)
        return
    if turn.visit.state == "running":
        turn.say("held_over")
        go_on(turn)


def _must_wait(turn: Turn) -> bool:
    visit = turn.visit
    return (
        turn.context.held
        and visit.state in ("agreed", "running")
        and not interrupted(visit, turn.context.book)
    )


def _needed(turn: Turn, step: Step, ask: Ask) -> bool:
    """A version that is known is not read again."""
    unit = turn.visit.unit(step.unit)
    return not (ask.kind == "version" and unit is not None and unit.version)


def _over(turn: Turn, step: Step) -> bool:
    """Whether there is nothing left to do here: the unit registered already."""
    unit = turn.visit.unit(step.unit)
    return unit is not None and unit.registered_at is not None
