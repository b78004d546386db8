"""When who has not sent back an old unit is reminded."""

from bot.model.policy import Policy, out_of_quiet
from bot.model.visit.state import Visit


def return_deadlines(visit: Visit, policy: Policy) -> dict[str, int]:
    """When who has not sent is reminded, by day."""
    return {
        f"return:{i}": out_of_quiet(one.due, visit.site.tz, policy)
        for i, one in enumerate(visit.spares.returns)
        if one.due is not None
    }
