"""What each answer to each kind of question leads to."""
# ruff: noqa: ARG001 - the rules of a table share one form, whether they need all of it

from collections.abc import Callable

from bot.model.calls.life import raise_call
from bot.model.message import Button
from bot.model.policy import minutes
from bot.model.runbook import AskKind, Cause
from bot.model.runbook_back_out import FAILS, WORKS
from bot.model.serial import normal
from bot.model.versions import at_least, cut_short
from bot.model.visit import checking, ready_asks
from bot.model.visit import event as e
from bot.model.visit.asks import ask_own, put
from bot.model.visit.back_walk import AGAIN, answered_works
from bot.model.visit.care import answered_company, answered_parked, asks_company
from bot.model.visit.lights import saw, watch
from bot.model.visit.state import Question
from bot.model.visit.steps import current
from bot.model.visit.turn import Turn
from bot.model.visit.walk import begun, close_question, go_on


def answered(turn: Turn, question: Question, value: str) -> None:
    """The contact answered the open question with ``value``."""
    if ready_asks.is_ours(question):
        ready_asks.answered(turn, question, value)
        return
    if question.ask in _OWN:
        _OWN[question.ask](turn, question, value)
        return
    _KINDS[question.kind](turn, question, value)


# --- the runbook's kinds ---------------------------------------------------------------


def _consent(turn: Turn, question: Question, value: str) -> None:
    if value == "yes":
        close_question(turn, value)
        turn.emit(e.StateSet("agreed"))
        ready_asks.opened(turn)
        turn.say("agreed", start=turn.visit.start)
        return
    close_question(turn, value, done=False)
    rebook(turn, "other_evening")


def rebook(turn: Turn, why: str, *, ordered: bool = False) -> None:
    """Not this evening: the admin finds another one; the contact need not give a reason.

    A site whose line is down is not left like that: on-call is called, new starts are held.
    ``ordered``: by the team, which need not be called about it.
    """
    step = current(turn.visit, turn.context.book)
    turn.emit(e.StateSet("rebook", why))
    if turn.visit.out_of_service:
        raise_call(turn, "without_service", stage=step.stage.id, unit=step.unit)
        turn.tell_wave("without_service")
        turn.say("rebook_line_down")
        return
    if turn.visit.thread:
        turn.say("rebook")
    if not ordered:
        raise_call(turn, "not_started", stage=step.stage.id)


def _begin(turn: Turn, question: Question, value: str) -> None:
    if value == "here":
        close_question(turn, value)
        begun(turn)
        if not asks_company(turn):
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
    elif _is_other_unit(turn, expected, value) and question.ask != "serial_other":
        ask_own(turn, "serial_other", "serial", checkpoint=5, window=15)
    elif question.ask != "serial_again":
        ask_own(turn, "serial_again", "serial", checkpoint=5, window=15)
    else:
        wrong_unit(turn, value)


def _is_other_unit(turn: Turn, expected: str, value: str) -> bool:
    """Whether it is the serial of another unit that belongs to this site."""
    others = (u for u in turn.visit.units if u.serial != expected and u.registered_at is None)
    return any(normal(unit.serial) == normal(value) for unit in others)


def wrong_unit(turn: Turn, seen: str) -> None:
    """The serial is not the one that belongs here."""
    raise_and_say(turn, "mismatch", "wrong_unit", seen=seen)


def _version(turn: Turn, question: Question, value: str) -> None:
    unit = turn.visit.unit(question.unit)
    if unit is None:
        raise LookupError(f"question {question.id} is about no unit")
    eligible = turn.context.book.models.get(unit.model)
    fits = eligible is not None and at_least(value, eligible.least_version)
    wrong = not fits and not unit.accepted
    first = question.ask != "version_again"
    if wrong and first and eligible and cut_short(value, eligible.least_version):
        _version_again(turn, question)
        return
    close_question(turn, value)
    turn.emit(e.UnitChecked(unit.serial, value))
    if wrong:
        turn.emit(e.UnitSet(unit.serial, "held", "software too old"))
        raise_and_say(turn, "mismatch", "wrong_version", seen=value)
        return
    go_on(turn)


def _version_again(turn: Turn, question: Question) -> None:
    """Too low, but perhaps only the beginning of it was typed: asked once more, whole."""
    close_question(turn, "perhaps not all of it", done=False)
    put(
        turn,
        ask="version_again",
        kind="version",
        text="read_version_nudge",
        nudge="read_version_nudge",
        checkpoint=minutes(5),
        window=minutes(15),
    )


def _choice(turn: Turn, question: Question, value: str) -> None:
    stage = current(turn.visit, turn.context.book).stage
    ask = next(a for a in stage.asks if a.id == question.ask)
    if ask.answers == (WORKS, FAILS):
        answered_works(turn, value)
        return
    if value in ask.missing:
        close_question(turn, value, done=False)
        raise_and_say(turn, "missing_part", "missing_part", seen=f"@x:b_{value}")
        return
    close_question(turn, value)
    go_on(turn)


def _light(turn: Turn, question: Question, value: str) -> None:
    saw(turn, question, value.removeprefix("light:"))


# --- our own asks ----------------------------------------------------------------------


def _reseated(turn: Turn, question: Question, value: str) -> None:
    close_question(turn, value, done=False)
    watch(turn, "light_after_check")


def _power_checked(turn: Turn, question: Question, value: str) -> None:
    close_question(turn, value, done=False)
    watch(turn, "light_again")


def _over(turn: Turn, question: Question, value: str) -> None:
    """Past the agreed end. Beyond the change window only with on-call knowing of it."""
    close_question(turn, value, done=False)
    if value != "go_on":
        raise_and_say(turn, "stop", "stop_tonight")
        return
    until = turn.at + turn.context.policy.go_on
    end = turn.visit.end
    if end is not None and until > end:
        until = end if end > turn.at else until
        if end <= turn.at:
            step = current(turn.visit, turn.context.book)
            raise_call(turn, "over_time", stage=step.stage.id, unit=step.unit)
    turn.emit(e.EndMoved(until))
    go_on(turn)


def callback_given(turn: Turn, question: Question, text: str, *, timed: bool) -> None:
    """Words with a number to call, or with the time for it: without both nothing starts.

    ``text`` names the words among the personal data: ``PERSON:FIELD``.
    """
    if ready_asks.is_ours(question):
        ready_asks.number_given(turn, text)
        return
    if question.ask == "callback_time":
        turn.emit(e.CallbackAgreed(turn.visit.callback, text))
    else:
        turn.emit(e.CallbackAgreed(text))
        if not timed:
            close_question(turn, "number given", done=False)
            ask_own(turn, "callback_time", "callback", checkpoint=5, window=15)
            return
    close_question(turn, "number and time given")
    raise_and_say(turn, "no_signal", "callback_noted")


def callback_refused(turn: Turn) -> None:
    """No number: nothing starts, and a person finds another way."""
    if ready_asks.is_ours(turn.visit.question):
        ready_asks.number_refused(turn)
        return
    close_question(turn, "no number", done=False)
    raise_and_say(turn, "no_signal", "callback_none")


def _callback(turn: Turn, question: Question, value: str) -> None:
    """Mobile data works after all."""
    close_question(turn, value)
    go_on(turn)


def raise_and_say(turn: Turn, cause: Cause, template: str, *, seen: str = "") -> None:
    """Raise a call for the place the visit stands at, and tell the contact."""
    step = current(turn.visit, turn.context.book)
    raise_call(turn, cause, stage=step.stage.id, unit=step.unit, seen=seen)
    turn.say(template)


_OWN: dict[str, Callable[[Turn, Question, str], None]] = {
    "reseat": _reseated,
    "power_check": _power_checked,
    "over": _over,
    AGAIN: lambda turn, _, value: answered_works(turn, value),
    "parked": answered_parked,
    "company": answered_company,
    checking.TRIED: checking.answered,
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
    "check": checking.answered,
}
