"""How fast we send, in wave time: a share of what the platform allows, some kept for calls.

Source: "Rate limits", https://docs.slack.dev/apis/web-api/rate-limits: one message a second in
a channel (short bursts allowed), several hundred a minute in a workspace, and 50 calls a minute
of tier 3 (``chat.update``). We plan at a share of 0.6 of each, for each message a further tenth
being there for escalations only.
"""

from dataclasses import dataclass
from typing import Protocol

from bot.model.message import ESCALATION

POSTS_A_MINUTE = 60  # in one channel
EDITS_A_MINUTE = 50  # in the workspace
WORKSPACE_POSTS_A_MINUTE = 300  # "several hundred"; the lowest reading
SHARE = 0.6
RESERVE = 0.1
_MINUTE = 60_000


class Taker(Protocol):
    """A limit kept in the store; ``bot.store.index.Index.take`` is one."""

    async def take(
        self, limit: str, *, now: int, per_minute: int, size: int, count: int = 1
    ) -> int: ...


class Drip:
    """A steady pace with a small burst. All instants are wave time, ms."""

    __slots__ = ("_every", "_full_at", "_slack")

    def __init__(self, per_minute: float, burst: int) -> None:
        self._every = -int(-_MINUTE // per_minute)  # whole milliseconds, rounded up
        self._slack = self._every * (burst - 1)
        self._full_at = 0

    def free_at(self, now: int) -> int:
        """The first instant, not before ``now``, at which one more may go."""
        return max(now, self._full_at - self._slack)

    def take(self, now: int) -> None:
        self._full_at = max(self._full_at, now) + self._every

    def give_back(self) -> None:
        self._full_at -= self._every


@dataclass
class _Channel:
    ordinary: Drip
    reserve: Drip
    blocked_until: int = 0


class Pacing:
    """Paces of all channels. ``workspace`` is a limit shared by all processes, or None."""

    def __init__(
        self,
        *,
        share: float = SHARE,
        reserve: float = RESERVE,
        burst: int = 3,
        workspace: "Workspace | None" = None,
    ) -> None:
        self._share, self._reserve, self._burst = share, reserve, burst
        self._channels: dict[str, _Channel] = {}
        self._edits = Drip(EDITS_A_MINUTE * share, burst)
        self._edits_blocked_until = 0
        self._workspace = workspace
        self._full_until = {True: 0, False: 0}  # the workspace's limit, as last told; urgent?

    def _channel(self, channel: str) -> _Channel:
        found = self._channels.get(channel)
        if found is None:
            found = _Channel(
                Drip(POSTS_A_MINUTE * self._share, self._burst),
                Drip(POSTS_A_MINUTE * self._reserve, 1),
            )
            self._channels[channel] = found
        return found

    async def post(self, channel: str, urgency: int, now: int) -> int:
        """0: go, it is counted. Else the wave time before which this channel takes no more."""
        state = self._channel(channel)
        if state.blocked_until > now:
            return state.blocked_until
        drip = state.ordinary
        if urgency <= ESCALATION and drip.free_at(now) > now:
            drip = state.reserve
        free = drip.free_at(now)
        if free > now:
            return min(free, state.ordinary.free_at(now))
        urgent = urgency <= ESCALATION
        if self._full_until[urgent] > now:
            return self._full_until[urgent]
        drip.take(now)
        if self._workspace is not None:
            wait = await self._workspace.take(now, urgent=urgent)
            if wait > 0:
                drip.give_back()
                self._full_until[urgent] = now + wait
                return now + wait
        return 0

    def full_until(self, now: int, ahead: int) -> int:
        """When a message that is no call may go, with ``ahead`` others before it; 0: perhaps now.

        Only what the workspace's limit was found to be is used; others can only have taken more.
        """
        until = self._full_until[False]
        if self._workspace is None or until <= now:
            return 0
        return until + int(ahead * _MINUTE / self._workspace.per_minute)

    def edit(self, now: int) -> int:
        """0: go, it is counted. Else the wave time before which no message is edited."""
        free = max(self._edits_blocked_until, self._edits.free_at(now))
        if free > now:
            return free
        self._edits.take(now)
        return 0

    def block(self, channel: str, until: int) -> None:
        """The platform asked for a pause in this channel."""
        state = self._channel(channel)
        state.blocked_until = max(state.blocked_until, until)

    def block_edits(self, until: int) -> None:
        self._edits_blocked_until = max(self._edits_blocked_until, until)


class Workspace:
    """The workspace's posts, counted in the store for all processes."""

    def __init__(
        self,
        taker: Taker,
        *,
        per_minute: int = WORKSPACE_POSTS_A_MINUTE,
        share: float = SHARE,
        reserve: float = RESERVE,
    ) -> None:
        self._taker = taker
        self.per_minute = max(1, int(per_minute * share))
        self._reserve = max(1, int(per_minute * reserve))

    async def take(self, now: int, *, urgent: bool) -> int:
        """0: taken. Else how many ms of wave time to wait."""
        wait = await self._take("posts", now, self.per_minute)
        if wait > 0 and urgent:
            return min(wait, await self._take("posts-calls", now, self._reserve))
        return wait

    async def _take(self, name: str, now: int, per_minute: int) -> int:
        size = max(5, per_minute // 6)  # what is allowed in ten seconds may come at once
        return await self._taker.take(name, now=now, per_minute=per_minute, size=size)


def installs_carried(posts_each: float, minutes: float, *, share: float = SHARE) -> int:
    """How many visits one channel carries at a time, at ``posts_each`` posts in ``minutes``."""
    return int(POSTS_A_MINUTE * share * minutes / posts_each)
