"""What the team orders for one site, by command or button; rights are checked here."""

from bot.model.calls.press import press, third_party
from bot.model.calls.state import Call
from bot.model.fact import Ordered
from bot.model.policy import minutes
from bot.model.visit import page, release_now
from bot.model.visit.answers import rebook
from bot.model.visit.asks import ask_again
from bot.model.visit.back_out import ordered_back
from bot.model.visit.catching_up import catch_up_staff
from bot.model.visit.new_date import ordered_date
from bot.model.visit.ready_gate import ordered_item, ordered_start
from bot.model.visit.returns import ordered_return
from bot.model.visit.safety import restart
from bot.model.visit.spares import ordered_swap
from bot.model.visit.takeover import hand_back, take_over
from bot.model.visit.turn import Turn

ORDERS = (
    "restart",
    "rebook",
    "new_date",
    "ready",
    "start_anyway",
    "back_out",
    "replace",
    "spare",
    "old_may_go",
    "tracking",
    "return_back",
    "return_wiped",
    "go_on",
    "old_works",
    "close",
    "third_party",
    "ask",
    "take_over",
    "hand_back",
    "catch_up",
    "release",
    *page.ORDERS,
)


def ordered(turn: Turn, fact: Ordered) -> None:
    """Do it, if the one who orders may."""
    actor = fact.actor
    if not (actor.oncall or actor.admin):
        turn.answer = "not_yours"
        return
    match fact.order:
        case "restart":
            restart(turn, actor.user)
        case "rebook":
            _rebook(turn, fact)
        case "replace" | "spare":
            ordered_swap(turn, fact)
        case "old_may_go" | "tracking" | "return_back" | "return_wiped":
            ordered_return(turn, fact)
        case "back_out" | "go_on" | "old_works":
            ordered_back(turn, fact)
        case "new_date":
            ordered_date(turn, fact)
        case "ready":
            ordered_item(turn, fact)
        case "start_anyway":
            ordered_start(turn, fact)
        case "close":
            reason = fact.args.get("reason", "")
            verb = f"close_{reason}" if reason else "close"
            turn.answer = press(turn, actor, fact.args.get("call", ""), verb)
        case "third_party":
            _third_party(turn, fact)
        case "ask":
            ask_again(turn)
        case "release":
            release_now.ordered(turn, actor)
        case "take_over":
            take_over(turn, actor)
        case "hand_back":
            hand_back(turn, actor)
        case "catch_up":
            catch_up_staff(turn, actor.user)
        case "revoke_page" | "send_page":
            page.ordered(turn, fact)
        case _:
            turn.answer = "unknown"


def _rebook(turn: Turn, fact: Ordered) -> None:
    if turn.visit.state in ("done", "rebook", "backed_out") or turn.visit.stopped_at is not None:
        turn.answer = "nothing"  # a danger stop is closed first, by who knows it is safe
        return
    rebook(turn, fact.args.get("reason", "ordered"), ordered=True)


def _third_party(turn: Turn, fact: Ordered) -> None:
    """``call``, ``ticket`` and ``minutes``: until then the line is with its carrier."""
    call = turn.visit.call(fact.args.get("call", "")) or _dead_line(turn)
    wait = fact.args.get("minutes", "")
    if call is None or not call.open or not wait.isdecimal():
        turn.answer = "stale" if call is None or not call.open else "unknown"
        return
    if call.operator not in ("ack", "shelved"):
        turn.answer = press(turn, fact.actor, call.id, "take")
        call = turn.visit.call(call.id)
        assert call is not None
    ticket = fact.args.get("ticket", "")
    turn.answer = third_party(turn, fact.actor, call, wait=minutes(int(wait)), ticket=ticket)


def _dead_line(turn: Turn) -> Call | None:
    return next((c for c in turn.visit.open_calls if c.cause == "dead_line"), None)
