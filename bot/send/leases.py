"""One replica at a time sends to a channel."""

import time
from collections.abc import Callable

from bot.send.ports import LeaseStore


class ChannelLeases:
    """Leases of channels as this process holds them; renewed when a third has passed.

    ``monotonic`` gives process time in seconds.
    """

    def __init__(
        self,
        store: LeaseStore,
        owner: str,
        *,
        ttl_ms: int = 30_000,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._store, self._owner, self._ttl = store, owner, ttl_ms
        self._monotonic = monotonic
        self._taken: dict[str, float] = {}

    async def held(self, channel: str) -> bool:
        """Whether the channel is ours now. Raises ``StoreError``."""
        now = self._monotonic()
        taken = self._taken.get(channel)
        if taken is not None and now - taken < self._ttl / 3000:
            return True
        if await self._store.lease(channel, self._owner, self._ttl):
            self._taken[channel] = now
            return True
        self._taken.pop(channel, None)
        return False
