"""People of the team whose chat account was disabled or renamed: noticed, and not called there."""

import logging
from collections.abc import Mapping
from typing import Any

from msgspec.structs import replace

from bot.desk import Desk
from bot.send.chat import ChatOut
from bot.send.errors import SendError
from bot.send.hints import say
from bot.speak.catalogue import Catalogue
from bot.speak.render import in_chat

_log = logging.getLogger("musterline.staff")


class Staff:
    """Keeps the roster to accounts that can read. ``channel`` is the team's own."""

    def __init__(self, desk: Desk, chat: ChatOut, catalogue: Catalogue, channel: str) -> None:
        self._desk, self._chat, self._catalogue = desk, chat, catalogue
        self._channel = channel
        self._whole = desk.surroundings.roster  # as the settings give it
        self._disabled: set[str] = set()

    async def changed(self, user: Mapping[str, Any]) -> None:
        """An account changed; nothing happens where it is none of the team."""
        key = str(user.get("id", ""))
        staff = self._whole.find(key)
        disabled = bool(user.get("deleted"))
        if staff is None or disabled == (key in self._disabled):
            return
        self._disabled ^= {key}
        left = tuple(s for s in self._whole.staff if s.user not in self._disabled)
        self._desk.surroundings.roster = replace(self._whole, staff=left)
        await self._tell("staff_disabled" if disabled else "staff_back", staff.name)

    async def _tell(self, key: str, name: str) -> None:
        _log.warning("%s: %s", key, name)
        if not self._channel:
            return
        text = self._catalogue.best("en").say(key, {"who": name}, show=in_chat)
        try:
            await say(self._chat, self._channel, text)
        except SendError:
            _log.exception("the team could not be told of an account")
