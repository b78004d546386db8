"""Each morning one message to the team: the sites of the evening, what is odd and who knows."""

from datetime import UTC, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from bot.model.context import Context
from bot.model.message import BOARD
from bot.model.wave.state import HandoverSet, Wave


def next_morning(at: int, tz: str, clock: time) -> int:
    """The first instant after ``at`` (ms) at which the clock of ``tz`` shows ``clock``."""
    zone = ZoneInfo(tz)
    today = datetime.fromtimestamp(at / 1000, UTC).astimezone(zone).date()
    for days in range(3):
        local = datetime.combine(today + timedelta(days=days), clock, zone)
        found = int(local.timestamp() * 1000)
        if found > at:
            return found
    raise AssertionError("a clock shows every time within two days")


def first(wave: Wave, context: Context, at: int) -> HandoverSet | None:
    """Set when the wave opens, where the runbook has a morning after; ``None``: it is set."""
    if context.book.morning is None or wave.handover_at is not None:
        return None
    return HandoverSet(next_morning(at, wave.tz, context.policy.handover))


def post(wave: Wave, context: Context, at: int) -> tuple[HandoverSet, list[dict[str, Any]]]:
    """What is posted this morning, and when it is looked at again: daily while anything is open."""
    found, said = context.handover, context.handover_lines
    due = bool(found and found.sites and said)
    going = wave.state == "open" or bool(found and found.open)
    following = next_morning(at, wave.tz, context.policy.handover) if going else None
    event = HandoverSet(following, due)
    if not due:
        return event, []
    args = {"wave": wave.name, "now": str(at), "words": "\n".join(said)}
    message = {"template": "handover_post", "args": args, "tz": wave.tz, "urgency": BOARD}
    mails = [
        {**message, "way": "mail", "thread": f"mail:{staff.mail}"}
        for staff in context.roster.staff
        if staff.mail and "admin" in staff.duties
    ]
    return event, [{**message, "thread": "team:handover"}, *mails]
