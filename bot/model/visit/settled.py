"""A call was closed by a person: what becomes of the visit."""

from bot.model.calls.state import Call
from bot.model.visit import back_out, morning_after
from bot.model.visit import event as e
from bot.model.visit.asks import rearm
from bot.model.visit.checking import vouched
from bot.model.visit.ready_asks import closed
from bot.model.visit.safety import safe_before
from bot.model.visit.takeover import FORGOTTEN
from bot.model.visit.turn import Turn
from bot.model.visit.walk import UNKNOWN_VERSION, close_question, go_on


def settled(turn: Turn, call: Call, reason: str, by: str) -> None:
    """Go on where the visit stood, or rebook; who closes a danger call says that it is safe."""
    if call.cause == "danger" and turn.visit.stopped_at is not None:
        turn.emit(e.Restarted(by))
    if call.seen == FORGOTTEN and turn.visit.helper:
        turn.emit(e.HandedBack(by))  # who closes this call gives the conversation back to us
    closed(turn, call, reason, by)
    morning_after.closed(turn, call, reason)
    if reason == "rebook":
        _another_evening(turn)
        return
    back_out.closed(turn, call, reason, by)
    if call.cleared_at is None:
        _accept(turn, call, by)
        if call.cause == "site_check":
            vouched(turn, by)
        _watch(turn, call)
    if turn.visit.waits_hold:
        turn.emit(e.HoldMet())  # still held: the next reminder counts from now
    if turn.visit.blocked or turn.visit.waits_hold:
        return
    if call.cause == "danger":
        safe_before(turn)
    _resume(turn, "restarted" if call.cause == "danger" else "going_on")


def _another_evening(turn: Turn) -> None:
    visit = turn.visit
    if visit.state in ("done", "rebook", "backed_out"):
        return
    turn.emit(e.StateSet("rebook", "closed with another evening"))
    if visit.out_of_service:
        turn.tell_wave("without_service")
    if visit.thread:
        turn.say("rebook_line_down" if visit.out_of_service else "rebook")


def _accept(turn: Turn, call: Call, by: str) -> None:
    """A person lets units be installed although model or version did not match."""
    visit = turn.visit
    if call.cause == "held" and visit.state == "held":
        for held in visit.units:
            if held.state == "held":
                turn.emit(e.UnitAccepted(held.serial, by))
        turn.emit(e.StateSet("planned", "a person let it go ahead"))
    unit = visit.unit(call.unit)
    if call.cause != "mismatch" or unit is None or unit.state != "held":
        return
    if unit.version or call.seen == UNKNOWN_VERSION:  # else its serial was wrong: read it again
        turn.emit(e.UnitAccepted(unit.serial, by))


def _watch(turn: Turn, call: Call) -> None:
    """Closed before the condition was seen to end: its unit stays watched."""
    unit = turn.visit.unit(call.unit)
    if unit is not None and not unit.online:
        turn.emit(e.UnitWatched(unit.serial, turn.at + turn.context.policy.watch))


def _resume(turn: Turn, text: str) -> None:
    """Go on with the open question, or with the next one."""
    question = turn.visit.question
    if question is not None and question.asked_at is not None:
        rearm(turn)
        return
    if question is not None and question.late:  # it never arrived: put it once more
        close_question(turn, "not delivered", done=False, given=False)
    if turn.visit.question is None and turn.visit.state in ("invited", "running"):
        if turn.visit.state == "running":
            turn.say(text)
        go_on(turn)
