"""Replace a unit: the old serial is withdrawn, the spare is expected here alone, another date.

A serial that was withdrawn counts nowhere until it has been back and wiped: its registration is
noted here and shown to the admins. A site whose line is off goes back to its old unit first. Until
the spare's serial and its date are known the visit waits, and says so wherever visits are listed.
"""

from bot.model.calls import event as c
from bot.model.calls.life import as_now, clear
from bot.model.calls.press import pressed_call
from bot.model.fact import Actor, Ordered, Registered, Told
from bot.model.message import Button
from bot.model.runbook import Cause
from bot.model.serial import normal
from bot.model.subject import ASIDE, parse
from bot.model.visit import event as e
from bot.model.visit import spares_events as s
from bot.model.visit.answers import rebook
from bot.model.visit.back import touched
from bot.model.visit.back_out import days_later
from bot.model.visit.back_walk import begin_back
from bot.model.visit.new_date import NoDate, new_date, read_date
from bot.model.visit.spares_state import REASONS, SOURCES, Swap
from bot.model.visit.state import Unit
from bot.model.visit.turn import Turn

#: What a new unit ends.
_ENDED: frozenset[Cause] = frozenset(
    {"fault", "mismatch", "power_twice", "damaged", "missing_part", "no_registration", "held"}
)


def withdrawn_registers(turn: Turn, fact: Registered) -> bool:
    """A withdrawn or lent serial is noted and shown to the admins; it counts for nothing here."""
    spares = turn.visit.spares
    if not (spares.withdraws(fact.serial) or spares.gave(fact.serial)):
        return False
    turn.emit(e.RegistrationNoted(fact.serial, fact.kind, fact.detail))
    turn.tell(
        ASIDE,
        "withdrawn",
        serial=fact.serial,
        site=turn.visit.site.name,
        source=fact.source,
    )
    turn.answer = "nothing"
    return True


def ordered_swap(turn: Turn, fact: Ordered) -> None:
    """The orders *replace* (old, new, reason, source, when) and *spare* (new, when)."""
    args, by = fact.args, fact.actor.user
    start: int | None = None
    if args.get("when"):
        try:
            start, _ = read_date(args["when"], turn.visit.site.tz)
        except NoDate as error:
            turn.answer = error.answer
            return
    if fact.order == "spare":
        turn.answer = spare_known(turn, by, args.get("new", ""), start, args.get("other", ""))
        return
    swap = Swap(
        args.get("old", ""),
        args.get("reason", ""),
        args.get("source", ""),
        by,
        turn.at,
        args.get("new", ""),
        start=start,
    )
    turn.answer = swap_unit(turn, swap, args.get("other", ""))


def swap_unit(turn: Turn, wanted: Swap, other: str = "") -> str:
    """Withdraw a unit; gives the answer for who ordered it. ``other`` expects the spare now."""
    visit = turn.visit
    unit = _unit(turn, wanted.old)
    if visit.in_danger:
        return "stopped"
    if unit is None or wanted.reason not in REASONS or wanted.source not in SOURCES:
        return "no_unit" if unit is None else "swap_how"
    if refused := _spare_refused(turn, wanted.new):
        return refused
    if wanted.start is not None and wanted.start < turn.at:
        return "past_date"
    if visit.spares.waiting is not None:
        return "swap_waits"
    turn.emit(
        s.Withdrawn(
            unit.serial,
            wanted.reason,
            wanted.source,
            wanted.by,
            wanted.new,
            wanted.model,
            wanted.start,
        )
    )
    turn.emit(s.ReturnOpened(unit.serial, "withdrawn"))
    _take_from(turn, other, wanted.new, wanted.by)
    turn.note("call_swap_noted", serial=unit.serial, who=turn.context.roster.name(wanted.by))
    _put_off(turn, wanted.by, unit)
    settle_swap(turn)
    return "ok"


def spare_known(turn: Turn, by: str, new: str, start: int | None, other: str) -> str:
    """What was missing of a swap: the spare's serial, or the date."""
    swap = turn.visit.spares.waiting
    if swap is None:
        return "nothing"
    if refused := _spare_refused(turn, new):
        return refused
    turn.emit(s.SpareKnown(swap.old, new, by, start))
    _take_from(turn, other, new, by)
    settle_swap(turn)
    return "ok"


def settle_swap(turn: Turn) -> None:
    """With serial and date known, and the site not on its way back: the visit is planned anew."""
    visit = turn.visit
    swap = next((x for x in visit.spares.swaps if visit.unit(x.old) is not None), None)
    if swap is None or not swap.new or visit.state not in ("rebook", "backed_out"):
        return
    if swap.start is None:
        return
    turn.emit(e.UnitReplaced(swap.old, swap.new, swap.by, swap.model, unread=True))
    turn.index("serial", normal(swap.new))
    before = turn.answer
    if not new_date(turn, swap.start, by=swap.by):
        turn.note("call_swap_no_date")
    turn.answer = before


def remind(turn: Turn) -> None:
    """The spare's serial or its date is still missing: the team is told, once a day."""
    swap = turn.visit.spares.waiting
    if swap is not None:
        turn.emit(s.SwapReminded(swap.old))
        turn.note("call_swap_waits", serial=swap.old)


def given_away(turn: Turn, fact: Told) -> None:
    """Another site has a unit of this one as its spare: this one needs another."""
    serial, by = fact.args["serial"], fact.args["by"]
    unit = _unit(turn, serial)
    if unit is None or unit.registered_at is not None or turn.visit.spares.gave(serial):
        turn.answer = "nothing"
        return
    turn.emit(s.Lent(unit.serial, fact.args["to"], by))
    turn.note("call_unit_lent", serial=unit.serial, who=turn.context.roster.name(by))
    if turn.visit.state not in ("done", "rebook", "backed_out", "watched"):
        rebook(turn, "its unit went to another site")


def _put_off(turn: Turn, by: str, unit: Unit) -> None:
    """Nothing more is done with the unit; a site without its line goes back to the old one."""
    for call in turn.visit.open_calls:
        if call.cause in _ENDED and call.unit in ("", unit.serial):
            clear(turn, call, "replaced")
            if as_now(turn, call).open:  # the swap is what was wanted of who has it
                turn.emit_call(c.Closed(call.id, by, "decided"))
    visit, book = turn.visit, turn.context.book
    if visit.back.walking or visit.state in ("rebook", "backed_out"):
        return
    if visit.state != "done" and touched(visit, book) and book.back_out is not None:
        begin_back(turn, by, "reason_replaced")
        return
    turn.emit(e.StateSet("rebook", "its unit is replaced"))
    if turn.visit.thread and turn.visit.link_down_at is None:
        turn.say("replace_soon")


def _unit(turn: Turn, serial: str) -> Unit | None:
    """The unit of that serial; without one, the only one there is."""
    units = turn.visit.units
    if not serial:
        return units[0] if len(units) == 1 else None
    wanted = normal(serial)
    return next((u for u in units if normal(u.serial) == wanted), None)


def _spare_refused(turn: Turn, new: str) -> str:
    """Why this serial cannot be the spare; empty when it can, or is not known yet."""
    if not new:
        return ""
    if _unit(turn, new) is not None or turn.visit.spares.withdraws(new):
        return "spare_here"
    return "" if normal(new) else "swap_how"


def _take_from(turn: Turn, other: str, new: str, by: str) -> None:
    """Whoever expects the spare now gives it up, so that it is expected here alone."""
    if other and new and other != str(turn.fact.subject):
        turn.tell(parse(other), "given_away", serial=new, by=by, to=turn.visit.site.name)


# --- by buttons ------------------------------------------------------------------------------


def press_swap(turn: Turn, actor: Actor, call_id: str, verb: str) -> str:
    """``s:CALL:replace``, then ``:REASON``, ``:REASON.SOURCE`` and ``:REASON.SOURCE.DAYS``."""
    call = pressed_call(turn, actor, call_id)
    if isinstance(call, str):
        return call
    reason, _, rest = verb.partition(".")
    source, _, days = rest.partition(".")
    if verb == "replace":
        turn.post_call(call, "call_swap_why", buttons=_choices(call_id, "", REASONS, "b_swap_"))
    elif reason in REASONS and not source:
        more = _choices(call_id, f"{reason}.", SOURCES, "b_from_")
        turn.post_call(call, "call_swap_from", buttons=more)
    elif reason in REASONS and source in SOURCES and not days:
        more = _choices(call_id, f"{verb}.", ("1", "7", "14"), "b_swap_days_")
        turn.post_call(call, "call_swap_when", buttons=more)
    elif reason in REASONS and source in SOURCES and days in ("1", "7", "14"):
        start = days_later(turn, int(days))
        unit = call.unit or (turn.visit.units[0].serial if len(turn.visit.units) == 1 else "")
        done = swap_unit(turn, Swap(unit, reason, source, actor.user, turn.at, start=start))
        if done == "ok":
            turn.post_call(call, "call_swap_serial")
        return done
    else:
        return "stale"
    return "ok"


def _choices(call: str, before: str, values: tuple[str, ...], label: str) -> tuple[Button, ...]:
    return tuple(Button(f"s:{call}:{before}{value}", f"{label}{value}") for value in values)
