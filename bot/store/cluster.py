"""A clustered server: each call goes to the server that holds its key's slot.

The client's cluster pipeline is not used: it refuses ``EVALSHA``, retries by itself even when told
not to, and has no room for a ``WAIT`` behind the commits on the same connection.
"""

import asyncio
from collections.abc import Callable, Sequence
from urllib.parse import urlsplit, urlunsplit

from redis.crc import key_slot
from redis.exceptions import AskError, MovedError

from bot.store.errors import StoreAway, StoreError, StoreRefused
from bot.store.link import Options, ServerLink, explained
from bot.store.wire import Call, command


class ClusterLink:
    """Knows which server holds which slot, and learns when that moves."""

    def __init__(self, url: str, options: Options) -> None:
        self._url = urlsplit(url)
        self._options = options
        self._seed = ServerLink(url, options)
        self._servers: dict[tuple[str, int], ServerLink] = {}
        self._slots: dict[int, tuple[str, int]] = {}
        self._learning: asyncio.Task[None] | None = None
        self.where = self._seed.where

    def start(self, _calls: Sequence[Call], _ended: Callable[[], None]) -> bool:
        return False  # they go to several servers, and may be told to go elsewhere

    async def run(self, calls: Sequence[Call], *, replicas: int = 0) -> None:
        try:
            if not self._slots:
                await self._learn()
            groups: dict[tuple[str, int], list[Call]] = {}
            for call in calls:
                groups.setdefault(self._home_of(call), []).append(call)
        except StoreError as error:
            for call in calls:
                _settle(call, error, self.where)
            return
        await asyncio.gather(
            *(self._group(address, group, replicas) for address, group in groups.items())
        )

    async def _group(self, address: tuple[str, int], calls: list[Call], replicas: int) -> None:
        server = self._server(address)
        answers = await server.answers(calls, replicas=replicas)
        moved: list[Call] = []
        for call, answer in zip(calls, answers, strict=True):
            if isinstance(answer, MovedError):  # first: it is an AskError to the client
                moved.append(call)
            elif isinstance(answer, AskError):
                asked = await self._server((answer.host, answer.port)).asking(call)
                _settle(call, asked, server.where)
            else:
                _settle(call, answer, server.where)
        if any(isinstance(answer, StoreAway) for answer in answers):
            self._slots.clear()  # it may have been replaced: ask anew before the next batch
        if moved:
            await self._follow(moved, replicas)

    async def _follow(self, calls: list[Call], replicas: int) -> None:
        """Calls that were told to go elsewhere, and so were not carried out: once more."""
        try:
            await self._learn()
            groups: dict[tuple[str, int], list[Call]] = {}
            for call in calls:
                groups.setdefault(self._home_of(call), []).append(call)
        except StoreError as error:
            for call in calls:
                _settle(call, error, self.where)
            return
        for address, group in groups.items():
            server = self._server(address)
            for call, answer in zip(
                group, await server.answers(group, replicas=replicas), strict=True
            ):
                if isinstance(answer, MovedError):
                    answer = StoreAway(f"the cluster's slots are on the move: {answer}")
                _settle(call, answer, server.where)

    def _home_of(self, call: Call) -> tuple[str, int]:
        if not call.key:
            return next(iter(self._slots.values()))
        slot = key_slot(call.key)
        if slot not in self._slots:
            raise StoreAway(f"no server of the cluster at {self.where} holds slot {slot}")
        return self._slots[slot]

    def _server(self, address: tuple[str, int]) -> ServerLink:
        if address not in self._servers:
            host, port = address
            name = f"[{host}]" if ":" in host else host
            user, at, _ = self._url.netloc.rpartition("@")
            netloc = f"{user}{at}{name}:{port}"
            self._servers[address] = ServerLink(
                urlunsplit(self._url._replace(netloc=netloc)), self._options
            )
        return self._servers[address]

    async def _learn(self) -> None:
        if self._learning is None:
            self._learning = asyncio.get_running_loop().create_task(self._ask_slots())
        learning = self._learning
        try:
            await asyncio.shield(learning)
        finally:
            if self._learning is learning and learning.done():
                self._learning = None

    async def _ask_slots(self) -> None:
        problem: object = None
        for server in [*self._servers.values(), self._seed]:
            answer = (await server.answers([command(b"", "CLUSTER", "SLOTS")]))[0]
            if isinstance(answer, list):
                self._slots = self._read_slots(answer)
                return
            problem = answer
        if isinstance(problem, StoreError):
            raise problem
        text = str(problem)
        if "cluster support disabled" in text:
            raise StoreRefused(f"the store at {self.where} is not a cluster: set cluster to false")
        raise explained(problem if isinstance(problem, Exception) else Exception(text), self.where)

    def _read_slots(self, answer: list[list[object]]) -> dict[int, tuple[str, int]]:
        slots: dict[int, tuple[str, int]] = {}
        for row in answer:
            first, last, primary = row[0], row[1], row[2]
            assert isinstance(first, int)
            assert isinstance(last, int)
            assert isinstance(primary, list)
            host = (primary[0] or b"").decode() or (self._url.hostname or "localhost")
            slots.update(dict.fromkeys(range(first, last + 1), (host, int(primary[1]))))
        return slots

    @property
    def pipelines(self) -> int:
        return sum(server.pipelines for server in self._servers.values())

    async def close(self) -> None:
        for server in [*self._servers.values(), self._seed]:
            await server.close()


def _settle(call: Call, answer: object, where: str) -> None:
    if call.done.done():
        return
    if isinstance(answer, StoreError):
        call.done.set_exception(answer)
    elif isinstance(answer, BaseException):
        call.done.set_exception(explained(answer, where))
    else:
        call.done.set_result(answer)
