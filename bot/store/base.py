"""What all parts of the store share: two batchers on one link, and the scripts."""

import asyncio
from collections.abc import Iterable
from typing import cast

from bot.store import probe
from bot.store.batch import Batcher
from bot.store.cluster import ClusterLink
from bot.store.errors import StoreError
from bot.store.link import Options, ServerLink
from bot.store.wire import Arg, Call, Script, command, script_call


class Connected:
    """A store that can be asked. ``url`` is ``redis://``, ``rediss://`` or ``unix://``."""

    def __init__(
        self,
        url: str,
        *,
        cluster: bool = False,
        options: Options | None = None,
        probe: probe.Probe = probe.nothing,
    ) -> None:
        self._options = options or Options()
        self._link = (ClusterLink if cluster else ServerLink)(url, self._options)
        self._probe = probe
        lanes, size = self._options.lanes, self._options.batch
        self._reads = Batcher(self._link, lanes=lanes, size=size)
        self._writes = Batcher(
            self._link,
            lanes=lanes,
            size=size,
            replicas=self._options.min_replicas,
            behind=self._reads,
        )

    @property
    def where(self) -> str:
        """Where the store is, without any password."""
        return self._link.where

    async def connect(self) -> None:
        """See that the store answers. Raises ``StoreError``."""
        await self._reads.submit(command(b"", "PING"))

    async def server_settings(self) -> dict[str, str]:
        """The server's own settings that decide what may be lost, and its replicas.

        Raises ``StoreRefused`` where a hosted server shows none.
        """
        names = ("appendonly", "appendfsync", "maxmemory-policy", "min-replicas-to-write")
        flat = texts(await self._reads.submit(command(b"", "CONFIG", "GET", *names)))
        info = cast("bytes", await self._reads.submit(command(b"", "INFO", "replication")))
        found = dict(zip(flat[::2], flat[1::2], strict=True))
        for line in info.decode().splitlines():
            name, colon, value = line.partition(":")
            if colon:
                found[name] = value
        return found

    async def close(self) -> None:
        """Finish what is under way and let the connections go."""
        await self._reads.close()
        await self._writes.close()
        await self._link.close()

    async def _read(self, key: bytes, *args: Arg) -> object:
        return await self._reads.submit(command(key, *args))

    async def _write(self, key: bytes, *args: Arg) -> object:
        return await self._writes.submit(command(key, *args))

    def _script_call(self, script: Script, keys: list[bytes], *args: Arg) -> Call:
        return script_call(script, keys, args)

    async def _read_all(self, calls: Iterable[Call]) -> list[object]:
        """Several calls of one batch. Raises the first error, after all have ended."""
        return await _all([self._reads.submit(call) for call in calls])


async def _all(futures: "list[asyncio.Future[object]]") -> list[object]:
    found: list[object] = []
    wrong: StoreError | None = None
    for future in futures:
        try:
            found.append(await future)
        except StoreError as error:
            wrong = wrong or error
    if wrong is not None:
        raise wrong
    return found


def texts(answer: object) -> list[str]:
    """A list of names as the server sent it."""
    return [raw.decode() for raw in cast("list[bytes]", answer)]


def number(answer: object) -> int:
    """A count or an instant as the server sent it; nothing counts as 0."""
    return int(float(cast("bytes", answer))) if answer else 0
