"""How a call leaves by mail or by webhook: fields of its message, the same for visit and wave."""

from typing import Any

from bot.model.calls.state import Call
from bot.model.calls.ways import take
from bot.model.message import ESCALATION
from bot.model.policy import minutes
from bot.model.roster import Staff

#: After that nobody is rung up about it: the call has long gone on to others.
_WORTH_RINGING = minutes(60)


def by_mail(call: Call, person: Staff) -> dict[str, Any]:
    """To their address; who has ways of their own gets a link that stands for the button."""
    fields: dict[str, Any] = {
        "way": "mail",
        "thread": f"mail:{person.mail}",
        "urgency": ESCALATION,
    }
    if person.ways:
        fields |= {"to": person.user, "buttons": (take(call),)}
    return fields


def by_hook(call: Call, person: Staff, target: str, place: str, at: int) -> dict[str, Any]:
    """A thread for each person and call, in which only the newest that is unsent counts."""
    return {
        "way": "webhook",
        "thread": f"hook:{target}:{person.user}:{place}:{call.id}",
        "urgency": ESCALATION,
        "key": "call",
        "to": person.user,
        "buttons": (take(call),),
        "not_after": at + _WORTH_RINGING,
    }
