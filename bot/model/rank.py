"""Which deadlines come first when many are due at once: what calls somebody, before all else."""

from bot.model.message import BOARD, ESCALATION, NUDGE

#: By these nobody is called, or only about another evening; by any other somebody may be.
_CALM = {
    **dict.fromkeys(("begin", "held", "invite", "nudge", "open", "over", "unpause"), NUDGE),
    **dict.fromkeys(("ready_ask", "ready_deputy", "ready_put_off", "ready_team"), NUDGE),
    **dict.fromkeys(("morning", "soak"), NUDGE),
    **dict.fromkeys(("handover", "pin"), BOARD),
}


def rank(kind: str) -> int:
    """``ESCALATION``, ``NUDGE`` or ``BOARD``; a smaller number goes first."""
    return _CALM.get(kind, ESCALATION)
