"""A visit's share in its wave's counters; they are sums, and can be rebuilt from snapshots."""

from bot.model.board import state_of
from bot.model.visit.state import Visit


def tally(visit: Visit) -> dict[str, int]:
    online = registered = held = 0
    for unit in visit.units:
        if unit.registered_at is not None:
            registered += 1
            online += unit.lost_at is None
        held += unit.state == "held"
    called = [c for c in visit.calls if c.called_at is not None]
    counts = {
        f"visits:{state_of(visit)}": 1,
        "units": len(visit.units),
        "online": online,
        "registered": registered,
        "held": held,
        "escalated": len(visit.units) if called else 0,
        "calls": len(visit.open_calls),
        "calling": int(any(c.open for c in called)),
        "nudges": visit.nudges,
    }
    return {name: count for name, count in counts.items() if count}


def difference(before: dict[str, int], after: dict[str, int]) -> dict[str, int]:
    """What must be added to the counters when a share changes from ``before`` to ``after``."""
    if before == after:
        return {}
    changes = {name: count - before.get(name, 0) for name, count in after.items()}
    changes |= {name: -count for name, count in before.items() if name not in after}
    return {name: change for name, change in sorted(changes.items()) if change}
