"""What each answer to each kind of question leads to."""
# ruff: noqa: ARG001 - the rules of a table share one form, whether they need all of it

from collections.abc import Callable

from bot.model.calls.life import raise_call
from bot.model.message import Button
from bot.model.runbook import AskKind, Cause
from bot.model.serial import normal
from bot.model.versions import at_least
from bot.model.visit import event as e
from bot.model.visit.asks import ask_own, ask_runbook
from bot.model.visit.lights import saw
from bot.model.visit.state import Question
from bot.model.visit.steps import current
from bot.model.visit.turn import Turn
from bot.model.visit.walk import begun, close_question, go_on


def answered(turn: Turn, question: Question, value: str) -> None:
    """The contact answered the open question with ``value``."""
    if question.ask in _OWN:
        _OWN[question.ask](turn, question, value)
        return
    _KINDS[question.kind](turn, question, value)


# --- the runbook's kinds ---------------------------------------------------------------


def _consent(turn: Turn, question: Question, value: str) -> None:
    if value == "yes":
        close_question(turn, value)
        turn.emit(e.StateSet("agreed"))
        turn.say("agreed", start=turn.visit.start)
        return
    close_question(turn, value, done=False)
    rebook(turn, "other_evening")


def rebook(turn: Turn, why: str) -> None:
    """Not this evening: the admin finds another one; the contact need not give a reason."""
    turn.emit(e.StateSet("rebook", why))
    turn.say("rebook")
    raise_call(turn, "not_started", stage=current(turn.visit, turn.context.book).stage.id)


def _begin(turn: Turn, question: Question, value: str) -> None:
    if value == "here":
        close_question(turn, value)
        begun(turn)
        go_on(turn)
    elif value == "later":
        ask_how_long(turn)
    else:
        close_question(turn, value, done=False)
        rebook(turn, "not_tonight")


def ask_how_long(turn: Turn) -> None:
    """More time, but not said how much: offer what fits."""
    question = turn.visit.question
    if question is None:
        return
    turn.emit(e.Reported())
    turn.say(
        "how_long",
        buttons=(
            Button(f"v:{question.id}:more10", "b_more10"),
            Button(f"v:{question.id}:more20", "b_more20"),
            Button(f"v:{question.id}:other_evening", "b_other_evening"),
        ),
        key="prompt",
    )


def _mobile(turn: Turn, question: Question, value: str) -> None:
    if value == "done":
        close_question(turn, value)
        go_on(turn)
        return
    close_question(turn, value, done=False)
    ask_own(turn, "callback", "callback", checkpoint=5, window=15)


def _confirm(turn: Turn, question: Question, value: str) -> None:
    close_question(turn, value)
    stage = current(turn.visit, turn.context.book).stage
    if stage.powered and question.unit:
        turn.emit(e.PoweredOn(question.unit))
    go_on(turn)


def _serial(turn: Turn, question: Question, value: str) -> None:
    expected = question.unit
    if value == "same" or normal(value) == normal(expected):
        close_question(turn, value)
        turn.emit(e.UnitChecked(expected))
        go_on(turn)
        return
    close_question(turn, value, done=False)
    if value == "different":
        ask_own(turn, "serial_type", "serial", checkpoint=5, window=15)
    elif question.ask != "serial_again":
        ask_own(turn, "serial_again", "serial", checkpoint=5, window=15)
    else:
        wrong_unit(turn, value)


def wrong_unit(turn: Turn, seen: str) -> None:
    """Serial, model or version is not the one that belongs here."""
    raise_and_say(turn, "mismatch", "wrong_unit", seen=seen)


def _version(turn: Turn, question: Question, value: str) -> None:
    unit = turn.visit.unit(question.unit)
    if unit is None:
        raise LookupError(f"question {question.id} is about no unit")
    close_question(turn, value)
    turn.emit(e.UnitChecked(unit.serial, value))
    eligible = turn.context.book.models.get(unit.model)
    if eligible is None or not at_least(value, eligible.least_version):
        turn.emit(e.UnitSet(unit.serial, "held", "software too old"))
        raise_and_say(turn, "mismatch", "wrong_version", seen=value)
        return
    go_on(turn)


def _choice(turn: Turn, question: Question, value: str) -> None:
    stage = current(turn.visit, turn.context.book).stage
    ask = next(a for a in stage.asks if a.id == question.ask)
    if value in ask.missing:
        close_question(turn, value, done=False)
        raise_and_say(turn, "missing_part", "missing_part", seen=f"@x:b_{value}")
        return
    close_question(turn, value)
    go_on(turn)


def _light(turn: Turn, question: Question, value: str) -> None:
    saw(turn, value.removeprefix("light:"))


# --- our own asks ----------------------------------------------------------------------


def _reseated(turn: Turn, question: Question, value: str) -> None:
    close_question(turn, value, done=False)
    limits = turn.context.book.limits
    _watch_again(turn, "light_after_check", limits.after_cable_check)


def _power_checked(turn: Turn, question: Question, value: str) -> None:
    close_question(turn, value, done=False)
    _watch_again(turn, "light_again", turn.context.book.limits.after_cable_check)


def _watch_again(turn: Turn, text: str, window_minutes: float) -> None:
    step = current(turn.visit, turn.context.book)
    ask = next(a for a in step.stage.asks if a.kind == "light")
    ask_runbook(turn, step.stage, ask, text=text, window=round(window_minutes * 60_000))


def _over(turn: Turn, question: Question, value: str) -> None:
    close_question(turn, value, done=False)
    if value == "go_on":
        turn.emit(e.EndMoved(turn.at + turn.context.policy.go_on))
        go_on(turn)
        return
    raise_and_say(turn, "stop", "stop_tonight")


def _callback(turn: Turn, question: Question, value: str) -> None:
    """A number and a time to call: without them nothing starts."""
    turn.emit(e.CallbackAgreed(value))
    close_question(turn, "number given", done=False)
    raise_and_say(turn, "no_signal", "callback_noted")


def raise_and_say(turn: Turn, cause: Cause, template: str, *, seen: str = "") -> None:
    """Raise a call for the place the visit stands at, and tell the contact."""
    step = current(turn.visit, turn.context.book)
    raise_call(turn, cause, stage=step.stage.id, unit=step.unit, seen=seen)
    turn.say(template)


_OWN: dict[str, Callable[[Turn, Question, str], None]] = {
    "reseat": _reseated,
    "power_check": _power_checked,
    "over": _over,
    "callback": _callback,
}
_KINDS: dict[AskKind, Callable[[Turn, Question, str], None]] = {
    "consent": _consent,
    "begin": _begin,
    "mobile": _mobile,
    "confirm": _confirm,
    "serial": _serial,
    "version": _version,
    "choice": _choice,
    "light": _light,
    "callback": _callback,
}
