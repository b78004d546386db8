"""Going on: from ask to ask, from stage to stage, to the end; and standing still for a hold."""

from bot.model.calls.life import raise_call
from bot.model.runbook import Ask
from bot.model.visit import event as e
from bot.model.visit.asks import ask_runbook
from bot.model.visit.care import cautions_now, parks_first
from bot.model.visit.ready_gate import may_begin
from bot.model.visit.steps import (
    Step,
    asks_for,
    current,
    interrupted,
    is_over,
    length,
    loading_step,
    steps,
)
from bot.model.visit.turn import Turn
from bot.model.visit.watching import done_or_watched

#: What a call says was seen when a unit would go on without its version being known.
UNKNOWN_VERSION = "@x:held_unknown"


def close_question(turn: Turn, answer: str, *, done: bool = True, given: bool = True) -> None:
    """The open question is answered; ``done`` when that settles the runbook's ask.

    ``given``: it is an answer of whoever spoke, which they may take back.
    """
    if turn.visit.question is not None:
        by = turn.speaker if given else ""
        turn.emit(e.QuestionClosed(turn.visit.question.id, answer, done, by))


def go_on(turn: Turn, *, text: str = "") -> None:
    """Ask what comes next, unless something stands in the way."""
    if turn.visit.blocked or turn.visit.state not in ("invited", "running"):
        return
    if _must_wait(turn):
        wait_for_wave(turn)
        return
    if parks_first(turn):
        return
    step = current(turn.visit, turn.context.book)
    if step.unit and is_over(turn.visit, step):
        turn.say("online_thanks")  # it registered while nothing could be said
    if is_over(turn.visit, step) or not _ask_next(turn, step, text):
        enter(turn, turn.visit.step + 1, text=text)


def enter(turn: Turn, index: int, *, text: str = "", forced: bool = False) -> None:
    """Enter the step ``index``, past what is done already, and ask; or end the visit.

    ``forced``: even while the wave is held (the unit is online, the rest is tidying up).
    ``text`` stands in for that of the stage's question about the light.
    """
    if turn.visit.blocked:
        return
    walk = steps(turn.context.book, turn.visit)
    while index < len(walk) and is_over(turn.visit, walk[index]):
        index += 1
    if index >= len(walk):
        finish(turn)
        return
    if _must_wait(turn) and not forced:
        wait_for_wave(turn)
        return
    step = walk[index]
    if _not_ready(turn, step):
        turn.emit(e.UnitSet(step.unit, "held", "its version is not known"))
        raise_call(turn, "mismatch", stage=step.stage.id, unit=step.unit, seen=UNKNOWN_VERSION)
        turn.say("wrong_version")
        return
    turn.emit(e.Entered(index, step.stage.id, step.unit))
    if step.stage.interrupts_service:
        turn.emit(e.LinkDown())
    _hold_until_read(turn, step)
    if not _ask_next(turn, step, text):
        enter(turn, index + 1, forced=forced)


def _ask_next(turn: Turn, step: Step, text: str) -> bool:
    """Put the stage's next ask; false when none is left."""
    stage = step.stage
    for ask in stage.asks[turn.visit.at_ask :]:
        on = _on_already(turn, step, ask)
        if on is not None:
            turn.emit(e.PoweredOn(step.unit, on))
        elif _needed(turn, step, ask):
            beside = cautions_now(turn, stage)
            said = text if ask.kind == "light" else ""
            ask_runbook(turn, stage, ask, text=said, beside=beside)
            return True
        turn.emit(e.AskSkipped(ask.id))
    if stage.waits_for_registration and not is_over(turn.visit, step):
        last = stage.asks[-1]  # only the registration leads on from here
        again = "registry_after_success" if last.kind == "light" else ""
        ask_runbook(turn, stage, last, text=again)
        return True
    return False


def _not_ready(turn: Turn, step: Step) -> bool:
    """Whether a unit would be cabled or powered without its version being known."""
    unit = turn.visit.unit(step.unit)
    risky = step.stage.powered or step.stage.interrupts_service
    return unit is not None and risky and not unit.version and not unit.accepted


def _hold_until_read(turn: Turn, step: Step) -> None:
    """From here on a unit of unknown version is held, until its label is read."""
    unit = turn.visit.unit(step.unit)
    reads = any(ask.kind == "version" for ask in step.stage.asks)
    if unit is not None and reads and not unit.version and not unit.accepted:
        turn.emit(e.UnitSet(unit.serial, "held", "its version is not known"))


def _on_already(turn: Turn, step: Step, ask: Ask) -> int | None:
    """Since when the unit to be switched on is on, by what the contact saw of it before."""
    if ask.kind != "confirm" or not step.stage.powered:
        return None
    return dict(turn.visit.ahead).get(step.unit)


def _needed(turn: Turn, step: Step, ask: Ask) -> bool:
    """A version that is known is not read again."""
    unit = turn.visit.unit(step.unit)
    return not (ask.kind == "version" and unit is not None and unit.version)


# --- beginning and end -------------------------------------------------------------------


def begin(turn: Turn) -> None:
    """The evening of the visit: ask whether the contact is there."""
    if _must_wait(turn):
        wait_for_wave(turn)
        return
    if turn.context.reachable is False:  # a turn has just begun; the wave holds, or says go on
        wait_for_wave(turn)
        turn.tell_wave("untested")
        return
    if not may_begin(turn):
        return
    turn.emit(e.StateSet("running"))
    if not parks_first(turn):
        set_out(turn)


def set_out(turn: Turn) -> None:
    """The first question of the evening; a mobile branch is parked by now."""
    book = turn.context.book
    if not asks_for(book, "begin"):
        begun(turn)
    if asks_for(book, "consent"):
        go_on(turn)
    else:
        enter(turn, 0)


def begun(turn: Turn) -> None:
    """The contact is there: from now the agreed end counts."""
    if turn.visit.begun_at is not None:
        return
    policy = turn.context.policy
    end = turn.at + length(turn.context.book, turn.visit.site) + policy.slack
    if turn.visit.end is not None:
        end = max(turn.at, min(end, turn.visit.end))
    turn.emit(e.Begun(end))


def finish(turn: Turn, *, signed: bool = True) -> None:
    """The walk is over; done is the visit when its soak is over too."""
    done = done_or_watched(turn, signed=signed)
    turn.say("goodbye" if done else "goodbye_watched")


def load_again(turn: Turn, serial: str) -> None:
    """Power was lost: the unit starts afresh, and so do the times of its stage."""
    enter(turn, loading_step(turn.visit, turn.context.book, serial), text="loading_again")


# --- hold --------------------------------------------------------------------------------


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
    if turn.visit.blocked:
        return  # a person has it, and goes on from there
    if turn.visit.state == "agreed":
        if turn.at >= turn.visit.start:
            begin(turn)
    elif turn.visit.state == "running":
        turn.say("held_over")
        go_on(turn)


def _must_wait(turn: Turn) -> bool:
    visit = turn.visit
    return (
        turn.context.held
        and visit.state in ("agreed", "running")
        and not interrupted(visit, turn.context.book)
    )
