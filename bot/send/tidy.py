"""Where something was sent in doubt, a late second copy is taken away: one copy remains."""

import logging
from collections.abc import Callable

from bot.send.chat import ChatOut, Seen
from bot.send.errors import SendError, ThreadGone
from bot.send.ports import OutboxStore
from bot.store.outbox import Thread

_log = logging.getLogger("musterline.tidy")


class Tidy:
    """Reads threads in doubt back. ``after`` and ``process`` are process time, ms."""

    def __init__(
        self, store: OutboxStore, chat: ChatOut, *, after: int, process: Callable[[], int]
    ) -> None:
        self._store, self._chat = store, chat
        self._after, self._process = after, process

    async def due(self, home: str, *, force: bool = False) -> list[str]:
        """Threads whose doubt is old enough for every copy to have come."""
        now = self._process()
        doubts = await self._store.doubts(home)
        return [thread for thread, at in doubts.items() if force or at + self._after <= now]

    async def thread(self, home: str, thread: str) -> int:
        """Leave one copy of each message in a thread; how many were removed.

        Raises ``SendError``; the doubt stays. A thread whose head is still being sent is left
        for later.
        """
        heads = await self._store.unsent(home, thread, 1)
        if heads and heads[0].state == "sending":
            return 0
        info = await self._store.thread_info(home, thread)
        removed = 0
        if info.channel:
            for stamp in extra_copies(await self._seen(info, thread), info):
                await self._chat.delete(info.channel, stamp)
                removed += 1
                _log.info("a second copy in %s of %s was removed", thread, home)
        await self._store.doubt_ends(home, thread)
        return removed

    async def _seen(self, info: Thread, thread: str) -> list[Seen]:
        found = await self._chat.ours(info.channel)
        if info.root:
            try:
                found += await self._chat.ours(info.channel, info.root)
            except ThreadGone:
                _log.warning("the thread %s is gone from its channel", thread)
        unique = {seen.stamp: seen for seen in found if seen.mark.get("thread") == thread}
        return [unique[stamp] for stamp in sorted(unique)]


def extra_copies(seen: list[Seen], info: Thread) -> list[str]:
    """Stamps of copies to remove: kept is the one others refer to, else the first."""
    known = {info.root, *(stamp for stamp, _ in info.slots.values())}
    groups: dict[tuple[str, int], list[str]] = {}
    for one in seen:
        groups.setdefault((one.id, one.rev), []).append(one.stamp)
    extra: list[str] = []
    for stamps in groups.values():
        keep = next((stamp for stamp in stamps if stamp in known), stamps[0])
        extra += [stamp for stamp in stamps if stamp != keep]
    return extra


async def tidy_all(
    tidy: Tidy, home: str, busy: Callable[[str, str], bool], *, force: bool = False
) -> int:
    """Tidy what is due of one home, leaving threads out that are being sent to."""
    removed = 0
    for thread in await tidy.due(home, force=force):
        if busy(home, thread):
            continue
        try:
            removed += await tidy.thread(home, thread)
        except SendError as error:
            _log.warning("%s of %s could not be read back: %s", thread, home, error)
    return removed
