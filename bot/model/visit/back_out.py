"""Go on or back out: who is asked, what they may decide, and what is done when nobody decides.

On-call is asked by a call of its own, in good time before the latest time to go back. It climbs
like any call. Only where the runbook says so is a site walked back without a decision, and never
while a person has the conversation or a danger stop holds. Whatever is decided is in the journal
with the name of who decided.
"""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from bot.model.calls import event as c
from bot.model.calls import ways
from bot.model.calls.life import as_now, clear, raise_call
from bot.model.calls.press import pressed_call
from bot.model.calls.state import Call
from bot.model.fact import Actor, Ordered
from bot.model.message import Button
from bot.model.policy import minutes
from bot.model.visit import back_events as b
from bot.model.visit.back import BACK_TIME, asked_until, at_risk, touched
from bot.model.visit.back_walk import begin_back, call_everyone, leave, restored
from bot.model.visit.new_date import NoDate, new_date, read_date
from bot.model.visit.offers import DAYS
from bot.model.visit.steps import current
from bot.model.visit.turn import Turn

#: Minutes by which one may go on before being asked again; each is a button.
UNTIL = (15, 30, 60)


# --- asked ---------------------------------------------------------------------------------

#: How long *go on* lasts where no time is given.
_GO_ON_USUALLY = minutes(30)


def ask(turn: Turn) -> None:
    """In good time, or when the time is over until which a person wanted to go on."""
    visit, book = turn.visit, turn.context.book
    if book.back_out is None:
        return
    last = asked_until(visit, book, book.back_out, turn.context.policy, turn.at)
    step = current(visit, book)
    call = raise_call(turn, "back_out", stage=step.stage.id, seen=BACK_TIME)
    turn.emit(b.BackAsked(call.id, last))
    rule = f"@x:reason_back_{book.back_out.without_answer}"
    turn.post_call(as_now(turn, call), "call_back_ask", latest=last, rule=rule)


def late(turn: Turn) -> None:
    """The latest time, and nobody decided: a person is called in any case."""
    visit, rule = turn.visit, turn.context.book.back_out
    turn.emit(b.BackLate())
    alone = not visit.in_danger and not visit.with_person
    if rule is not None and rule.without_answer == "back_out" and alone:
        begin_back(turn, "", "reason_no_decision", keep=visit.back.call)
        call_everyone(turn, "@x:reason_walked_back", "call_back_walking")
        return
    call_everyone(turn, "@x:reason_no_decision", "call_back_undecided")


# --- decided -------------------------------------------------------------------------------


def order_back_out(turn: Turn, by: str, why: str) -> str:
    """Back out now; gives the answer for who ordered it (see ``Decision``)."""
    visit, book = turn.visit, turn.context.book
    if visit.in_danger:
        return "stopped"
    if visit.back.walking or visit.state == "backed_out":
        return "nothing"
    cut = touched(visit, book)
    if not cut and visit.state != "running":
        return "nothing"
    if cut and book.back_out is None:
        return "no_way_back"
    _settle_call(turn, by, "call_back_decided", why)
    begin_back(turn, by, why)
    _let_sleep(turn, by, why)
    return "ok"


def order_go_on(turn: Turn, by: str, wait: int | None) -> str:
    """Go on for ``wait`` ms, then be asked again; ``None``: at one's own risk. Ends a walk back."""
    if turn.visit.in_danger:
        return "stopped"
    if turn.visit.back.walking:
        leave(turn, by)
        return "ok"
    if not at_risk(turn.visit) or turn.context.book.back_out is None:
        return "nothing"
    until = None if wait is None else turn.at + wait
    turn.emit(b.GoneOn(by, until))
    _settle_call(turn, by, "call_back_going_on" if until else "call_back_risk", "", until=until)
    return "ok"


def order_works(turn: Turn) -> str:
    """A person knows that the old unit works again."""
    if not turn.visit.back.walking or turn.visit.stopped_at is not None:
        return "nothing"
    restored(turn)
    return "ok"


def _settle_call(turn: Turn, by: str, template: str, why: str, *, until: int | None = None) -> None:
    """The call that asked is answered by the decision: it closes, with the name."""
    for call in turn.visit.open_calls:
        if call.cause == "back_out":
            turn.emit_call(c.Closed(call.id, by, "decided"))
            turn.post_call(
                as_now(turn, call),
                template,
                who=turn.context.roster.name(by),
                why=f"@x:{why}" if why else "",
                until=until or turn.at,
            )


def _let_sleep(turn: Turn, by: str, why: str) -> None:
    """A person has decided, and the site is walked back: while that may take its time, nobody
    else is woken for the site's being without service. A silent site, or an old unit that does
    not work, calls everybody at once all the same."""
    rule = turn.context.book.back_out
    if rule is None or not turn.visit.back.walking:
        return
    due = turn.at + minutes(rule.minutes)
    for call in turn.visit.open_calls:
        waits = call.cleared_at is None and call.operator == "none" and call.due < due
        if call.cause == "without_service" and waits:
            ways.over(turn, call)
            turn.emit_call(c.Delayed(call.id, due))
            name = turn.context.roster.name(by)
            turn.post_call(as_now(turn, call), "call_back_decided", who=name, why=f"@x:{why}")


def ordered_back(turn: Turn, fact: Ordered) -> None:
    """The orders *back out*, *go on* and *old box works*."""
    by = fact.actor.user
    match fact.order:
        case "back_out":
            turn.answer = order_back_out(turn, by, "reason_as_ordered")
        case "go_on":
            turn.answer = order_go_on(turn, by, _wait(fact.args))
        case _:
            turn.answer = order_works(turn)


def _wait(args: dict[str, str]) -> int | None:
    """How long to go on, ms. Without a limit only where that is said: it is not asked again."""
    if args.get("risk") == "yes":
        return None
    wait = args.get("minutes", "")
    return minutes(int(wait)) if wait.isdecimal() else _GO_ON_USUALLY


def press_back(turn: Turn, actor: Actor, call_id: str, verb: str) -> str:
    """A button ``b:CALL:VERB`` of a call."""
    call = pressed_call(turn, actor, call_id)
    if isinstance(call, str):
        return call
    if verb == "back_out":
        why = "reason_back_time" if call.cause == "back_out" else f"cause_{call.cause}"
        return order_back_out(turn, actor.user, why)
    if verb == "go_on":
        if turn.visit.back.walking:
            return order_go_on(turn, actor.user, None)
        turn.post_call(call, "call_back_until", buttons=_until(call))
        return "ok"
    if verb == "risk":
        return order_go_on(turn, actor.user, None)
    number = int(verb[1:]) if verb[1:].isdecimal() else 0
    if verb[:1] == "m" and number in UNTIL:
        return order_go_on(turn, actor.user, minutes(number))
    if verb[:1] == "d" and number in DAYS:
        return _in_days(turn, actor.user, number)
    return "stale"


def _in_days(turn: Turn, by: str, days: int) -> str:
    if turn.visit.state != "backed_out":
        return "stale"
    start = days_later(turn, days)
    if start is None:
        return "no_such_time"
    new_date(turn, start, by=by)
    return turn.answer


def days_later(turn: Turn, days: int) -> int | None:
    """The visit's start by the site's clock, so many days later and not past; ``None`` where the
    clock of that day never shows it, or twice."""
    visit = turn.visit
    local = datetime.fromtimestamp(visit.start / 1000, UTC).astimezone(ZoneInfo(visit.site.tz))
    wanted = local.replace(tzinfo=None) + timedelta(days=days)
    now = datetime.fromtimestamp(turn.at / 1000, UTC).astimezone(ZoneInfo(visit.site.tz))
    while wanted <= now.replace(tzinfo=None):
        wanted += timedelta(days=1)
    try:
        return read_date(wanted.isoformat(" ", "minutes"), visit.site.tz)[0]
    except NoDate:
        return None


# --- what calls offer ----------------------------------------------------------------------


def _until(call: Call) -> tuple[Button, ...]:
    made = [Button(f"b:{call.id}:m{number}", f"b_until_{number}") for number in UNTIL]
    return (*made, Button(f"b:{call.id}:risk", "b_risk", "danger"))


# --- closed, cleared, and never forgotten -----------------------------------------------------


def closed(turn: Turn, call: Call, reason: str, by: str) -> None:
    """A person closed a call that is about the site's service."""
    if reason == "rebook" or call.cleared_at is not None:
        return
    if call.cause == "back_out" and at_risk(turn.visit) and not turn.visit.back.walking:
        turn.emit(b.GoneOn(by))  # who closes it decides so
    elif call.cause == "without_service" and turn.visit.state not in ("running", "watched"):
        turn.emit(b.LineVouched(by))


def keep_noticed(turn: Turn) -> None:
    """After every decision: no site stays without service and without anybody being called."""
    if not turn.known:
        return
    visit = turn.visit
    back = visit.back
    if visit.link_down_at is None and back.watch_at is None and not back.call:
        return
    call = visit.call(back.call)
    if call is not None and call.open and not at_risk(visit):
        clear(turn, call, "settled")
    idle = visit.link_down_at is not None and visit.state != "running"
    called = any(one.cleared_at is None for one in visit.open_calls)
    if idle and not called and back.watch_at is None:
        turn.emit(b.LineWatched(turn.at + turn.context.policy.watch))
    elif back.watch_at is not None and (called or not idle):
        turn.emit(b.LineWatched(None))


def still_down(turn: Turn) -> None:
    """The site has had no service for a while, and nobody is called about it."""
    turn.emit(b.LineWatched(None))
    raise_call(turn, "without_service", seen="@x:reason_line_forgotten")
    turn.tell_wave("without_service")
