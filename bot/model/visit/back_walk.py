"""The walk back to the old unit, step by step, until the site says that the old unit works."""

from bot.model.calls.life import as_now, call_out, clear, in_hand, raise_call
from bot.model.calls.state import Call
from bot.model.runbook import Cause
from bot.model.runbook_back_out import WORKS
from bot.model.visit import back_events as b
from bot.model.visit import event as e
from bot.model.visit.asks import ask_own
from bot.model.visit.back import touched
from bot.model.visit.finished import there_since
from bot.model.visit.steps import all_registered, current, is_over, steps
from bot.model.visit.turn import Turn
from bot.model.visit.walk import close_question, enter, go_on

#: Calls that are about something else than what the walk back ends.
_KEPT: frozenset[Cause] = frozenset({"danger", "without_service", "unreachable"})
#: Our own question after the old unit did not work: told when it does after all.
AGAIN = "old_again"


def begin_back(turn: Turn, by: str, why: str, *, keep: str = "") -> None:
    """Take the site back from where it stands; ``keep`` names a call that stays open.

    A site whose service was never interrupted has nothing to walk back.
    """
    visit = turn.visit
    walked = touched(visit, turn.context.book)
    if visit.helper:
        turn.emit(e.HandedBack(by))
    for call in visit.open_calls:
        if call.cause not in _KEPT and call.id != keep:
            clear(turn, call, "backed_out")
    if not walked:
        _over(turn, by, why, "back_unchanged")
        return
    turn.emit(b.BackBegun(by, why))
    turn.note("call_back_begun", who=_who(turn, by), why=f"@x:{why}")
    turn.say("back_begin")
    enter(turn, 0)


def answered_works(turn: Turn, value: str) -> None:
    """The last ask: whether the old unit works."""
    if value == WORKS:
        close_question(turn, value)
        restored(turn)
        return
    close_question(turn, value, done=False)
    if turn.visit.back.failed_at is None:
        turn.emit(b.BackFailed())
    call_everyone(turn, "@x:reason_back_failed", "call_back_failed")
    ask_own(turn, AGAIN, "choice", checkpoint=10, window=30)


def restored(turn: Turn) -> None:
    """The old unit works: the visit is backed out."""
    back = turn.visit.back
    _over(turn, back.by, back.why, "back_done")


def silent(turn: Turn) -> None:
    """Nobody answers on the way back: the site is without service, so everybody is called."""
    question = turn.visit.question
    if question is not None:
        turn.emit(e.WindowPassed(question.id))
    call_everyone(turn, "@x:reason_back_silent", "call_back_silent")


def call_everyone(turn: Turn, seen: str, template: str) -> Call:
    """A site without service, critical and at once, unless a person is at it already."""
    step = current(turn.visit, turn.context.book)
    lasting = (c for c in turn.calls if c.open and c.cleared_at is None)
    known = next((c for c in lasting if c.cause == "without_service"), None)
    call = known or raise_call(turn, "without_service", stage=step.stage.id, seen=seen)
    turn.tell_wave("without_service")
    waits = call.operator != "ack" and in_hand(turn, call) is None
    if waits:
        call_out(turn, call, rung=0, rounds=call.rounds, everybody=True)
    if known is not None:
        turn.post_call(as_now(turn, call), template)
    return as_now(turn, call)


def leave(turn: Turn, by: str) -> None:
    """A person goes on after all: from where the visit stood, or, where steps were walked back
    already, from the first that interrupts the service."""
    visit, book = turn.visit, turn.context.book
    step, ask = visit.back.from_step, visit.back.from_ask
    moved = visit.step > 0 or visit.at_ask > 0
    turn.emit(b.BackLeft(by, step, ask))
    if moved:
        walk = enumerate(steps(book, turn.visit))
        cuts = (i for i, s in walk if s.stage.interrupts_service and not is_over(turn.visit, s))
        turn.emit(b.BackLeft(by, next(cuts, step), 0))
        _unplugged(turn)
    if any(unit.online for unit in turn.visit.units):
        turn.emit(e.LinkBack())
    turn.note("call_back_left", who=_who(turn, by))
    for call in turn.visit.open_calls:
        if call.cause == "back_out":
            clear(turn, call, "settled")
    turn.say("back_left")
    if all_registered(turn.visit):
        enter(turn, turn.visit.step, forced=True)
    else:
        go_on(turn)


def _unplugged(turn: Turn) -> None:
    """Steps were walked back, so what was heard of a unit before that does not count any more:
    until it registers anew it is called for, whether its loss was reported or not."""
    since = turn.visit.back.since or 0
    for unit in turn.visit.units:
        if unit.online and max(there_since(unit), unit.alive_at or 0) <= since:
            turn.emit(e.UnitLost(unit.serial, "walked back"))
            raise_call(turn, "lost", unit=unit.serial)


def _over(turn: Turn, by: str, why: str, template: str) -> None:
    turn.emit(b.OldWorks(by, why))
    for call in turn.visit.open_calls:
        if call.cause != "danger":
            clear(turn, call, "backed_out")
    turn.say(template)
    turn.note("call_backed_out", why=f"@x:{why}")
    raise_call(turn, "not_started", seen="@x:reason_backed_out")


def registered_meanwhile(turn: Turn, serial: str) -> None:
    """A unit registers while the site is walked back: on-call may decide to go on after all."""
    open_before = {call.id for call in turn.calls}
    call = raise_call(turn, "back_out", seen="@x:reason_registered_meanwhile")
    if call.id in open_before:
        turn.post_call(call, "call_back_registered", serial=serial)


def _who(turn: Turn, by: str) -> str:
    return turn.context.roster.name(by) or "@x:nobody"
