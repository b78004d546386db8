"""Places that take nothing now: held for a while, told once, tried again."""

import logging

from bot.model.message import Message
from bot.send.ports import Tell, Trouble

EVERYWHERE = "*"
_log = logging.getLogger("musterline.send")


class Holds:
    """Held places and why. Instants are wave time, ms."""

    def __init__(self, tell: Tell) -> None:
        self._tell = tell
        self._held: dict[str, tuple[int, str]] = {}

    def until(self, place: str, now: int) -> int:
        """0: the place may be tried. Else when it may."""
        for name in (place, EVERYWHERE):
            until, _ = self._held.get(name, (0, ""))
            if until > now:
                return until
        return 0

    def next_at(self, now: int) -> list[int]:
        return [until for until, _ in self._held.values() if until > now]

    def clear(self, place: str) -> None:
        """The place took a message."""
        self._held.pop(place, None)
        self._held.pop(EVERYWHERE, None)

    async def hold(
        self, place: str, until: int, why: str, home: str, message: Message, now: int
    ) -> None:
        """Hold a place (``*``: all), and tell when that is news."""
        known = self._held.get(place)
        self._held[place] = (until, why)
        if known is None or known[1] != why:
            kind = "everywhere" if place == EVERYWHERE else "channel"
            await self.tell(kind, place, why, home, message, now)

    async def stuck(self, home: str, thread: str, why: str, now: int) -> None:
        """A thread whose next message cannot be read; told when that is news."""
        place = f"{home}/{thread}".rstrip("/")
        known = self._held.get(place)
        self._held[place] = (0, why)
        if known is None or known[1] != why:
            trouble = Trouble("channel", home, place, thread, "", why, now)
            _log.error("%s", trouble)
            await self._tell(trouble)

    async def tell(
        self, kind: str, place: str, why: str, home: str, message: Message, now: int
    ) -> None:
        trouble = Trouble(kind, home, place, message.thread, message.id, why, now, message.urgency)
        _log.error("%s", trouble)
        await self._tell(trouble)

    @property
    def places(self) -> dict[str, str]:
        return {place: why for place, (_, why) in self._held.items()}
