"""Times and habits that are the team's, not the equipment's."""

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import msgspec

MINUTE = 60_000


def minutes(number: float) -> int:
    """Minutes as milliseconds of wave time."""
    return round(number * MINUTE)


class Policy(msgspec.Struct, frozen=True, gc=False):
    """Milliseconds of wave time, and wall times local to each site."""

    gather: int = 90_000  # between raising a call and making it
    undelivered: int = minutes(15)  # a question not confirmed as delivered becomes a call
    pause: int = minutes(15)
    slack: int = minutes(20)  # added to the runbook's visit to give the agreed end
    grace: int = minutes(2)  # left to answer between the last asking and the call
    held_reminder: int = minutes(30)
    go_on: int = minutes(30)  # by how much a contact may prolong the agreed end
    quiet_from: time = time(20, 30)  # no invitations from here ...
    quiet_until: time = time(8, 0)  # ... to here
    pin_every: int = MINUTE
    close_reminder: int = minutes(60)
    test_remind: int = minutes(5)  # a test of the ways not confirmed is sent once more
    test_over: int = minutes(10)  # after that, others are told that it is not confirmed
    test_at: time = time(9, 0)  # of people without hours, each day in their zone
    handover: time = time(8, 30)  # when the morning's handover is posted, by the wave's own zone
    watch: int = minutes(60)  # a unit whose call was closed though it is not online


def out_of_quiet(at: int, tz: str, policy: Policy) -> int:
    """The first instant from ``at`` on that lies outside the site's quiet hours."""
    if policy.quiet_from == policy.quiet_until:
        return at
    local = datetime.fromtimestamp(at / 1000, UTC).astimezone(ZoneInfo(tz))
    clock = local.time()
    overnight = policy.quiet_from > policy.quiet_until
    after, before = clock >= policy.quiet_from, clock < policy.quiet_until
    if not ((after or before) if overnight else (after and before)):
        return at
    day = local.date() + timedelta(days=1) if overnight and after else local.date()
    ends = datetime.combine(day, policy.quiet_until, ZoneInfo(tz))
    return int(ends.timestamp() * 1000)
