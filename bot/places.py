"""Where a thread of the outbox lives in the chat."""

import msgspec

from bot.model.subject import Subject, of_visit
from bot.model.visit.state import Visit
from bot.model.wave.state import Wave
from bot.store.store import Store


class ChannelPlaces:
    """Threads to channels: a site's to its wave's channel, calls and notes to the team's."""

    def __init__(self, store: Store, team_channel: str, workspace: str) -> None:
        self._store, self._team, self._workspace = store, team_channel, workspace

    async def channel_of(self, home: str, thread: str) -> str:
        """The channel's id. Raises ``LookupError`` for a thread that belongs nowhere."""
        kind, _, rest = thread.partition(":")
        if kind in ("esc", "team"):
            return self._team
        if kind == "wave":
            return (await self._wave(home)).channels[int(rest)]
        if kind == "private":  # the contact is part of the name (bot.desk.mirror)
            return rest.rpartition(":")[2]
        if kind in ("site", "mirror"):
            wave = await self._wave(home)
            body = (await self._store.load(of_visit(home[2:], rest))).body
            visit = msgspec.json.decode(body, type=Visit)
            return wave.channels[visit.channel % len(wave.channels)]
        raise LookupError(f"nothing is known of a place for {thread!r}")

    async def _wave(self, home: str) -> Wave:
        body = (await self._store.load(Subject(home, "wave"))).body
        if not body:
            raise LookupError(f"there is no wave {home!r}")
        return msgspec.json.decode(body, type=Wave)
