"""Lines about units that were replaced and that go back, for one site."""

from bot.model.roster import Roster
from bot.model.visit.spares_state import Return, Swap
from bot.model.visit.state import Visit
from bot.speak.catalogue import Texts


def spares_lines(visit: Visit, texts: Texts, roster: Roster | None) -> list[str]:
    """Nothing for a visit at which nothing was replaced and nothing goes back yet."""
    lines = [_swap(swap, texts, roster) for swap in visit.spares.swaps]
    waiting = visit.spares.waiting
    if waiting is not None:
        lines.append(texts.say("status_swap_waits", {"old": waiting.old}))
    return lines + [_return(one, texts) for one in visit.spares.returns]


def _swap(swap: Swap, texts: Texts, roster: Roster | None) -> str:
    staff = roster.find(swap.by) if roster is not None else None
    args = {
        "old": swap.old,
        "new": swap.new or texts.say("status_serial_unknown", {}),
        "why": texts.say(f"b_swap_{swap.reason}", {}),
        "from": texts.say(f"b_from_{swap.source}", {}),
        "who": staff.name if staff else swap.by,
    }
    return texts.say("status_swap", args)


def _return(one: Return, texts: Texts) -> str:
    args = {
        "serial": one.serial or texts.say("reason_old_unit", {}),
        "state": texts.say(f"reason_return_{one.stage}", {}),
        "tracking": one.tracking or texts.say("none", {}),
        "wiped": texts.say("reason_wiped_yes" if one.wiped_at else "reason_wiped_no", {}),
    }
    return texts.say("status_return", args)
