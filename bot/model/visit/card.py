"""What a call tells: all that one needs to act from a locked phone, as arguments of a text."""

from bot.model.calls.state import Call
from bot.model.context import Context
from bot.model.visit.back import BACK_TIME, asked_until
from bot.model.visit.state import Visit


def card(visit: Visit, call: Call, context: Context, at: int) -> dict[str, str]:
    """Arguments of every text about this call. Instants are milliseconds of wave time.

    Values beginning ``@p:`` are personal data, ``@x:`` another text of the catalogue and
    ``@t:`` the address of a thread; all are put in when the message is sent.
    """
    unit = visit.unit(call.unit) if call.unit else None
    site = visit.site
    last_sign = unit.registered_at if unit and unit.registered_at is not None else None
    return {
        "site": site.name,
        "address": site.address or "@x:not_known",
        "now": str(at),
        "wave": visit.wave,
        "cause": f"@x:cause_{call.cause}",
        "severity": f"@x:severity_{call.severity}",
        "call": call.id,
        "unit": f"{unit.model} {unit.serial}" if unit else "@x:no_unit",
        "stage": _stage(call, context),
        "minutes": str(max(0, at - (call.raised_at if call.asked_at is None else call.asked_at))),
        "seen": _seen(visit, call, context),
        "asked": f"@x:asked_{call.asked or 'nothing'}",
        "tried": f"@x:{call.tried or 'tried_nothing'}",
        "sign": str(last_sign) if last_sign is not None else "",
        "last_sign": "@x:sign_at" if last_sign is not None else "@x:sign_none",
        "neighbours": str(_others(visit, context, at)),
        "circuit": site.circuit or "@x:not_known",
        "carrier": site.carrier or "@x:not_known",
        "fault_line": site.fault_line or "@x:not_known",
        "first_try": f"@x:try_{call.cause}",
        **_by_when(visit, call, context),
        "link": f"@t:w:{visit.wave}/site:{visit.id}",
        "contact": f"@p:{visit.contact.key}:name",
        "contact_user": visit.contact.user,
        "mobile": f"@p:{visit.contact.key}:mobile",
        "phone": site.phone or "@x:not_known",
        "deputy": f"@p:{visit.deputy.key}:name" if visit.deputy else "@x:nobody",
        "deputy_mobile": f"@p:{visit.deputy.key}:mobile" if visit.deputy else "@x:not_known",
        "callback": f"@p:{visit.callback}" if visit.callback else "@x:nothing",
        "callback_time": f"@p:{visit.callback_time}" if visit.callback_time else "",
        "ticket": call.ticket or "@x:not_known",
        "said_before": f"@p:{visit.said[-2]}" if len(visit.said) > 1 else "",
        "said": f"@p:{visit.said[-1]}" if visit.said else "@x:nothing",
    }


def _others(visit: Visit, context: Context, at: int) -> int:
    """Other sites with an open call; this one is among those counted once it has called."""
    own = any(c.open and c.called_at is not None and c.called_at < at for c in visit.calls)
    return max(0, context.neighbours - own)


def _by_when(visit: Visit, call: Call, context: Context) -> dict[str, str]:
    """Until when it has to be decided whether to go on, and what happens without a decision."""
    rule = context.book.back_out
    if rule is None or call.cause != "back_out" or call.seen != BACK_TIME:
        return {}
    known = visit.back.latest if visit.back.call == call.id else None
    until = known or asked_until(visit, context.book, rule, context.policy, call.raised_at)
    return {"first_try": f"@x:try_back_out_{rule.without_answer}", "latest": str(until)}


def _stage(call: Call, context: Context) -> str:
    """The stage's name: the runbook's own words for it, or else the catalogue's."""
    key = f"stage_{call.stage}"
    own = context.book.words["en"].get(key)
    return own or (f"@x:{key}" if call.stage else "@x:not_known")


def _seen(visit: Visit, call: Call, context: Context) -> str:
    if call.seen and call.seen in context.book.patterns:
        return f"@x:{context.book.patterns[call.seen].means}"
    if call.seen:
        return call.seen
    if visit.lights:
        return f"@x:{context.book.patterns[visit.lights[-1][1]].means}"
    return "@x:nothing_seen"
