"""Whether somebody who is on call now is known to be reachable."""

from bot.model.roster import Roster
from bot.model.rota.state import Rota


def confirmed_ways(rota: Rota | None, user: str, at: int) -> tuple[str, ...]:
    """The ways of a person that were confirmed in the shift that covers ``at``."""
    shift = rota.of(user) if rota is not None else None
    return shift.confirmed(at) if shift is not None else ()


def reachable(rota: Rota | None, roster: Roster, at: int, *, chat_alone: bool) -> bool:
    """Whether anybody whose on-call turn covers ``at`` has confirmed a way in this shift.

    A phone that only rings for chat does not wake people: chat counts with ``chat_alone``.
    """
    for staff in roster.on_duty("oncall", at):
        ways = confirmed_ways(rota, staff.user, at)
        if any(chat_alone or way != "chat" for way in ways):
            return True
    return False
