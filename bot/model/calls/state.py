"""One call, as it stands. Instants and lengths of time are milliseconds of wave time."""

from typing import Literal

import msgspec

from bot.model.runbook import Cause, Severity

#: Operator states of RFC 8632: ``none`` is not yet taken, ``shelved`` is put off.
Operator = Literal["none", "ack", "shelved", "closed"]
First = Literal["oncall", "admin"]

#: Causes at which a walk-through stands still until a person or a registration moves it.
BLOCKING: frozenset[Cause] = frozenset(
    {
        "danger",
        "fault",
        "mismatch",
        "help",
        "dead_line",
        "missing_part",
        "power_twice",
        "stop",
        "no_signal",
        "held",
        "not_understood",
        "site_check",
        "damaged",
    }
)
#: What a registration of the unit clears: the conditions that waited for it, and no others.
CLEARED_BY_REGISTRATION: frozenset[Cause] = frozenset(
    {
        "silent",
        "no_registration",
        "dead_line",
        "without_service",
        "lost",
        "over_time",
        "not_started",
        "back_out",
    }
)
#: What a sign of life from the contact clears.
CLEARED_BY_ANSWER: frozenset[Cause] = frozenset(
    {"silent", "not_started", "over_time", "unreachable"}
)
#: Called at once: nobody gathers other signs of danger, or lets a person who asks wait.
AT_ONCE: frozenset[Cause] = frozenset({"danger", "help", "stop", "back_out"})


class Call(msgspec.Struct, frozen=True, gc=False, omit_defaults=True):
    """An escalation: raised, then called out; cleared by events, closed by a person."""

    id: str
    cause: Cause
    severity: Severity
    first: First
    raised_at: int
    due: int  # its own deadline, whatever it waits for now
    take_within: int
    stage: str = ""
    unit: str = ""
    seen: str = ""  # name of the light pattern, serial or version that was seen
    operator: Operator = "none"
    called_at: int | None = None
    cleared_at: int | None = None
    rung: int = 0
    rounds: int = 0  # how often the whole ladder was climbed
    taken_by: str = ""
    offered_to: str = ""
    third_party: bool = False  # waiting on a third party until ``due``
    ticket: str = ""  # the third party's number for it
    asked: str = ""  # kind of the question that was open when it was raised
    asked_at: int | None = None
    tried: str = ""  # catalogue key of what the contact had tried by then
    reason: str = ""
    to: str = ""  # who is called now
    way: int = 0  # which of their ways is being tried
    sent: str = ""  # the message that went out by it
    hooks: tuple[str, ...] = ()  # webhooks that were told, as ``target:user``

    @property
    def open(self) -> bool:
        return self.operator != "closed"

    @property
    def blocks(self) -> bool:
        """Whether the contact is asked nothing more until this is settled."""
        return self.open and self.cleared_at is None and self.cause in BLOCKING


def find(calls: tuple[Call, ...], call_id: str) -> Call | None:
    return next((c for c in calls if c.id == call_id), None)
