"""What the sender needs from others, as narrow protocols. Times in ms; see each argument."""

from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass
from typing import Protocol

from bot.model.fact import AnyFact
from bot.model.message import BOARD, Message
from bot.model.subject import Subject
from bot.store.commit import Settle
from bot.store.outbox import Claimed, NotClaimed, Queued, Thread, Unread

Probe = Callable[[str], None]


class OutboxStore(Protocol):
    """The part of the store that the sender uses (``bot.store.store.Store`` has it all)."""

    async def homes(self) -> list[str]: ...

    async def ready(
        self,
        home: str,
        limit: int,
        *,
        wave: int,
        process: int,
        wanted: Callable[[str], bool] = ...,
        always: str = ...,
        unread: Unread | None = ...,
    ) -> list[Queued]: ...

    async def unsent(
        self, home: str, thread: str, limit: int, unread: Unread | None = ...
    ) -> list[Queued]: ...

    async def claim(
        self, home: str, thread: str, message: str, *, process: int, lease_until: int
    ) -> Claimed | NotClaimed: ...

    async def release(
        self, home: str, thread: str, message: str, *, not_before: int, why: str, doubt: bool
    ) -> None: ...

    async def extend(self, home: str, thread: str, lease_until: int) -> None: ...

    async def settle(self, home: str, settles: tuple[Settle, ...]) -> None: ...

    async def page_put(self, home: str, site: str, message: Message) -> None: ...

    async def thread_info(self, home: str, thread: str) -> Thread: ...

    async def idle(self, home: str) -> bool: ...

    async def next_retry(self, home: str) -> int | None: ...

    async def doubts(self, home: str) -> dict[str, int]: ...

    async def doubt_ends(self, home: str, thread: str) -> None: ...


class Receiver(Protocol):
    """The desk, as far as the sender sees it."""

    async def receive(self, fact: AnyFact) -> object: ...

    async def expects(self, serial: str, subject: Subject) -> int: ...


class Places(Protocol):
    """Where a thread lives: a channel id, or a person's chat id for a direct conversation."""

    async def channel_of(self, home: str, thread: str) -> str: ...


class IndexStore(Protocol):
    """The indexes that a message of the way ``index`` changes."""

    async def put(self, kind: str, value: str, subject: Subject) -> None: ...

    async def drop(self, kind: str, value: str, subject: Subject) -> None: ...


class LeaseStore(Protocol):
    """Leases of channels, by the server's clock."""

    async def lease(self, channel: str, owner: str, ttl_ms: int) -> bool: ...


@dataclass(frozen=True)
class Trouble:
    """Something a person has to know of. ``now`` is wave time, ms.

    ``kind``: ``channel`` (held; every message to it waits), ``everywhere`` (no channel takes
    anything), ``message`` (a dead letter), ``pin`` (a message could not be pinned) or ``bug``.
    """

    kind: str
    home: str
    place: str
    thread: str
    message: str
    why: str
    now: int
    urgency: int = BOARD  # of the message


Tell = Callable[[Trouble], Awaitable[None]]
People = Callable[[str], Awaitable[Mapping[str, str] | None]]
