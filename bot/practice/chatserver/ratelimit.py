"""Rate limits, counted in wave time.

Source: "Rate limits", https://docs.slack.dev/apis/web-api/rate-limits: tiers 1 to 4 allow
1+, 20+, 50+ and 100+ calls a minute per method and workspace; chat.postMessage one message
a second per channel with short bursts, and several hundred a minute per workspace.
Where the page says "+" or "bursts", the stand-in is at the strict end: exactly the stated
number in any 60 seconds, a burst of five posts in a channel, 300 posts a minute in all.
"""

from collections import deque
from collections.abc import Callable

from bot.practice.chatserver.answers import RateLimited

MINUTE = 60_000
TIERS = {1: 1, 2: 20, 3: 50, 4: 100}
SPECIAL = 300  # "hundreds of calls a minute": auth.test, chat.getPermalink
POST_EVERY = 1_000
POST_BURST = 5
POSTS_A_MINUTE = 300


def _seconds(millis: int) -> int:
    """Whole seconds, rounded up, at least one."""
    return max(1, -(-millis // 1000))


class RateLimits:
    """Counts calls per method, and posts per channel. `clock` gives wave time in ms."""

    def __init__(self, clock: Callable[[], int]) -> None:
        self.clock = clock
        self.on = True
        self.post_burst = POST_BURST
        self.posts_a_minute = POSTS_A_MINUTE
        self._calls: dict[str, deque[int]] = {}
        self._room: dict[str, tuple[int, int]] = {}

    def call(self, method: str, tier: int | None) -> None:
        """Count one call, or raise RateLimited. Tier 0 is special, None is without limit."""
        if not self.on or tier is None:
            return
        self._window(method, TIERS.get(tier, SPECIAL))

    def _window(self, key: str, most: int) -> None:
        now = self.clock()
        calls = self._calls.setdefault(key, deque())
        while calls and calls[0] <= now - MINUTE:
            calls.popleft()
        if len(calls) >= most:
            raise RateLimited(_seconds(calls[0] + MINUTE - now))
        calls.append(now)

    def post(self, channel: str) -> None:
        """Count one post to a channel, or raise RateLimited."""
        if not self.on:
            return
        now = self.clock()
        full = self.post_burst * POST_EVERY
        left, at = self._room.get(channel, (full, now))
        left = min(full, left + max(0, now - at))
        if left < POST_EVERY:
            self._room[channel] = (left, now)
            raise RateLimited(_seconds(POST_EVERY - left))
        self._window("(posts)", self.posts_a_minute)
        self._room[channel] = (left - POST_EVERY, now)
