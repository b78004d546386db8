"""What stands on a contact's page: the messages of its conversation, in the order they were said.

It is no subject, nobody decides by it. A message is put there as often as it is sent, and stands
there once. What it says of people are references to their personal data, as in the outbox.
"""

import re
from typing import cast

import msgspec

from bot.model.message import Message
from bot.store import keys
from bot.store.base import Connected

_message = msgspec.json.Decoder(Message)
_NUMBERS = re.compile(r":(\d+):(\d+)[a-z]?$")


class PageLog(Connected):
    """One hash for each visit, in the slot of its wave."""

    async def page_put(self, home: str, site: str, message: Message) -> None:
        """Let it stand on the page. What is edited in place replaces its older self."""
        key = keys.of(home).page(site)
        name = f"slot:{message.slot}" if message.slot else message.id
        await self._write(key, "HSET", key, name, msgspec.json.encode(message))

    async def page_read(self, home: str, site: str) -> list[Message]:
        """All of it, the oldest first."""
        key = keys.of(home).page(site)
        found = cast("list[bytes]", await self._read(key, "HVALS", key))
        return in_order([_message.decode(body) for body in found])


def in_order(messages: list[Message]) -> list[Message]:
    """As they were said: by the version of the visit that said them, then within it."""
    return sorted(messages, key=_said_at)


def _said_at(message: Message) -> tuple[int, int]:
    found = _NUMBERS.search(message.id)
    return (int(found[1]), int(found[2])) if found else (0, 0)
