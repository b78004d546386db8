"""When who has not sent back an old unit is reminded."""

from bot.model.policy import Policy, minutes, out_of_quiet
from bot.model.visit.state import Visit

_DAY = minutes(24 * 60)


def return_deadlines(visit: Visit, policy: Policy) -> dict[str, int]:
    """When who has not sent is reminded, by day; and the team, of what a swap still lacks."""
    due = {
        f"return:{i}": out_of_quiet(one.due, visit.site.tz, policy)
        for i, one in enumerate(visit.spares.returns)
        if one.due is not None
    }
    swap = visit.spares.waiting
    if swap is not None:
        due["swap"] = (swap.at if swap.reminded_at is None else swap.reminded_at) + _DAY
    return due
