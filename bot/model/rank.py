"""Which deadlines come first when many are due at once: what calls somebody, before all else."""

from bot.model.message import BOARD, ESCALATION, NUDGE

#: Kinds of deadlines (without what follows a colon) by which a person is called, or called again.
_CALLING = frozenset({"call", "window", "link", "undelivered", "watch", "alive"})


def rank(kind: str) -> int:
    """``ESCALATION``, ``NUDGE`` or ``BOARD``; a smaller number goes first."""
    name = kind.partition(":")[0]
    if name in _CALLING:
        return ESCALATION
    return BOARD if name == "pin" else NUDGE
