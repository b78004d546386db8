"""What lies outside the homes: indexes, persons, shared limits, clock, small notes."""

from collections import OrderedDict
from time import monotonic
from typing import cast

from bot.model.subject import Subject, parse
from bot.store import keys
from bot.store.base import Connected, number, texts
from bot.store.wire import Script

_LEASE = Script("lease")
_BUCKET = Script("bucket")
_LATELY = 1.0  # seconds of process time
_MOST = 4_096


class Index(Connected):
    """Hits of the index are hints: verify them against the subject."""

    _lately: OrderedDict[bytes, tuple[float, list[Subject]]]

    async def put(self, kind: str, value: str, subject: Subject) -> None:
        """``kind``: ``serial``, ``thread`` or ``user``."""
        key = keys.index(kind, value)
        await self._write(key, "SADD", key, str(subject))
        self._lately.pop(key, None)

    async def drop(self, kind: str, value: str, subject: Subject) -> None:
        key = keys.index(kind, value)
        await self._write(key, "SREM", key, str(subject))
        self._lately.pop(key, None)

    async def find_lately(self, kind: str, value: str) -> list[Subject]:
        """As ``find``, or as it was found within the last second, but for what we changed.

        The index always is that much behind the subjects. What was not found is looked for anew.
        """
        key = keys.index(kind, value)
        known, now = self._lately.get(key), monotonic()
        if known is not None and now - known[0] < _LATELY:
            return known[1]
        found = await self.find(kind, value)
        if found:
            self._lately[key] = (now, found)
            self._lately.move_to_end(key)
            if len(self._lately) > _MOST:
                self._lately.popitem(last=False)
        return found

    async def find(self, kind: str, value: str) -> list[Subject]:
        """Subjects known under the value, sorted."""
        key = keys.index(kind, value)
        return sorted(parse(text) for text in texts(await self._read(key, "SMEMBERS", key)))

    async def person_put(self, person: str, fields: dict[str, str]) -> None:
        """Keep these fields of a person; the others stay as they are."""
        key = keys.person(person)
        if fields:
            pairs = [part for pair in fields.items() for part in pair]
            await self._write(key, "HSET", key, *pairs)

    async def person_get(self, person: str) -> dict[str, str]:
        """What is known of a person; empty when nothing is, or it was erased."""
        key = keys.person(person)
        flat = texts(await self._read(key, "HGETALL", key))
        return dict(zip(flat[::2], flat[1::2], strict=True))

    async def person_erase(self, person: str) -> None:
        key = keys.person(person)
        await self._write(key, "DEL", key)

    async def lease(self, channel: str, owner: str, ttl_ms: int) -> bool:
        """Take or renew a channel's sending lease. It runs out by the server's clock."""
        call = self._script_call(_LEASE, [keys.lease(channel)], owner, max(1, ttl_ms))
        return await self._writes.submit(call) == 1

    async def unlease(self, channel: str, owner: str) -> None:
        """Give a channel's lease up, if it is ours."""
        await self._writes.submit(self._script_call(_LEASE, [keys.lease(channel)], owner, 0))

    async def take(
        self, limit: str, *, now: int, per_minute: int, size: int, count: int = 1
    ) -> int:
        """Take from a limit shared by all processes. 0: taken; else ms to wait, nothing taken."""
        call = self._script_call(_BUCKET, [keys.bucket(limit)], now, per_minute, size, count)
        return cast("int", await self._writes.submit(call))

    async def clock_get(self) -> int | None:
        """The wave clock of a rehearsal, ms; None when there never was one."""
        answer = await self._read(keys.CLOCK, "GET", keys.CLOCK)
        return number(answer) if answer else None

    async def clock_set(self, now: int) -> None:
        await self._write(keys.CLOCK, "SET", keys.CLOCK, now)

    async def alive_mark(self, now: int) -> None:
        """A bot is alive now (ms)."""
        await self._write(keys.ALIVE, "SET", keys.ALIVE, now)

    async def alive_last(self) -> int | None:
        """When a bot was last alive, ms; None when there never was one."""
        answer = await self._read(keys.ALIVE, "GET", keys.ALIVE)
        return number(answer) if answer else None

    async def note_put(self, name: str, value: bytes) -> None:
        """Keep something small under a name."""
        key = keys.note(name)
        await self._write(key, "SET", key, value)

    async def note_get(self, name: str) -> bytes | None:
        key = keys.note(name)
        return cast("bytes | None", await self._read(key, "GET", key))
