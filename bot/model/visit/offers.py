"""What else than taking and closing may be done with a call of a visit: more buttons below it."""

from bot.model.calls.state import Call
from bot.model.message import Button
from bot.model.runbook import Cause, Runbook
from bot.model.visit.back import touched
from bot.model.visit.state import Visit

_CARDS = ("call", "call_again", "call_taken")
DAYS = (7, 14)
#: Where another unit may be the answer.
_HARDWARE: frozenset[Cause] = frozenset(
    {"fault", "mismatch", "power_twice", "damaged", "missing_part", "no_registration"}
)


def offers(visit: Visit, book: Runbook, call: Call, template: str) -> tuple[Button, ...]:
    """Buttons that go out with ``template`` in the call's thread, behind its own."""
    if template not in _CARDS or call.cause == "danger":
        return ()
    if call.cause == "not_started" and visit.state == "backed_out":
        return tuple(Button(f"b:{call.id}:d{n}", f"b_in_days_{n}") for n in DAYS)
    return (*_back(visit, book, call, template), *_swap(visit, call))


def _swap(visit: Visit, call: Call) -> tuple[Button, ...]:
    if call.cause not in _HARDWARE or visit.spares.waiting is not None:
        return ()
    return (Button(f"s:{call.id}:replace", "b_replace"),)


def _back(visit: Visit, book: Runbook, call: Call, template: str) -> tuple[Button, ...]:
    if book.back_out is None or not touched(visit, book):
        return ()
    out = Button(f"b:{call.id}:back_out", "b_back_out", "danger")
    on = Button(f"b:{call.id}:go_on", "b_back_go_on")
    if visit.back.walking:
        return (on,)
    if call.cause == "back_out":
        return (on, out)
    return (out,) if template == "call_taken" else ()
