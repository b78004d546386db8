"""A visit's share in its wave's counters; they are sums, and can be rebuilt from snapshots."""

from bot.model.board import state_of
from bot.model.visit.state import Visit


def tally(visit: Visit) -> dict[str, int]:
    called = any(c.called_at is not None for c in visit.calls)
    counts = {
        f"visits:{state_of(visit)}": 1,
        "units": len(visit.units),
        "online": sum(u.online for u in visit.units),
        "registered": sum(u.registered_at is not None for u in visit.units),
        "held": sum(u.state == "held" for u in visit.units),
        "escalated": len(visit.units) if called else 0,
        "calls": len(visit.open_calls),
        "calling": int(any(c.open and c.called_at is not None for c in visit.calls)),
        "nudges": visit.nudges,
    }
    return {name: count for name, count in counts.items() if count}


def difference(before: dict[str, int], after: dict[str, int]) -> dict[str, int]:
    """What must be added to the counters when a share changes from ``before`` to ``after``."""
    names = before.keys() | after.keys()
    changes = {name: after.get(name, 0) - before.get(name, 0) for name in names}
    return {name: change for name, change in sorted(changes.items()) if change}
