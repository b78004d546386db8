"""After a gap: each open thread is read back, and what was missed is brought in.

Facts have the ids they would have had, so that what did arrive counts once. The platform keeps
nothing for us longer than it resends (about six minutes), and limits reading; so a pause lies
between two calls, and nobody's time runs until all is read (``bot.live``).
"""

import asyncio
import logging
from collections.abc import Awaitable, Callable
from dataclasses import dataclass

from bot.desk import Desk
from bot.model.people import by_page
from bot.model.policy import MINUTE
from bot.model.visit.state import Visit
from bot.model.wave.state import Wave
from bot.send.chat import ChatOut
from bot.send.errors import Passing, SendError
from bot.send.hints import who_am_i
from handlers.clock import Now
from handlers.hearing import Hearing
from handlers.mentions import Orders
from handlers.reactions import Reactions, on_message
from handlers.written import Written, in_channel

#: How far back we read at most, and by how much we read before the gap began. Wave time, ms.
LONGEST = 48 * 60 * MINUTE
BEFORE = 5 * MINUTE
#: About 50 calls a minute are allowed ("Rate limits", tier 3 of the platform).
PAUSE = 1.3
#: How often one place is asked while the platform itself answers.
TRIES = 10
#: How often words are brought in whose writer could not be answered, and seconds in between.
HEARINGS, AGAIN = 3, 5.0
_log = logging.getLogger("musterline.readback")
Sleep = Callable[[float], Awaitable[None]]


@dataclass(frozen=True)
class Where:
    """A thread, or with no ``root`` what stands at the root of a channel."""

    channel: str
    root: str = ""
    direct: bool = False


@dataclass(frozen=True)
class ReadBack:
    """How many messages were brought in, and which places could not be read, and why."""

    messages: int
    places: int
    unread: dict[Where, str]


class Reader:
    """Reads back. ``sleep`` waits seconds of process time between two calls."""

    def __init__(
        self,
        desk: Desk,
        chat: ChatOut,
        hearing: Hearing,
        orders: Orders,
        reactions: Reactions,
        now: Now,
        bot_user: str,
        sleep: Sleep = asyncio.sleep,
    ) -> None:
        self._desk, self._chat, self._hearing, self._orders = desk, chat, hearing, orders
        self._reactions = reactions
        self._now, self._bot_user, self._sleep = now, bot_user, sleep

    async def run(self, since: int) -> ReadBack:
        """Bring in what was written from ``since`` (wave time, ms). Raises ``StoreError``."""
        since = max(since, self._now() - LONGEST)
        brought, unread = 0, {}
        places = await self.places()
        for where in places:
            try:
                brought += await self._place(where, since)
            except SendError as error:
                _log.error("%s cannot be read back: %s", where, error.why)
                unread[where] = error.why
            await self._sleep(PAUSE)
        _log.info("read back %d places: %d messages", len(places), brought)
        return ReadBack(brought, len(places), unread)

    async def places(self) -> list[Where]:
        """What is read, the sites under way first; then calls, channels and conversations."""
        store = self._desk.store
        first, then, last = dict[Where, None](), dict[Where, None](), dict[Where, None]()
        for home in await store.homes():
            if not home.startswith("w:"):
                continue
            wave: Wave | None = None
            for subject in await store.subjects_of(home):
                state = await self._desk.state(subject)
                if isinstance(state, Wave):
                    wave = state
                if not isinstance(state, Visit) or not state.live:
                    continue
                for place in await self._of_visit(home, state):
                    (first if state.state == "running" else then)[place] = None
            for channel in wave.channels if wave is not None and wave.state != "closed" else ():
                last[Where(channel)] = None
        return list(first | then | last)

    async def _of_visit(self, home: str, visit: Visit) -> list[Where]:
        threads = [
            self._desk.surroundings.thread_of(visit),
            self._desk.surroundings.mirror_of(visit),
        ]
        if by_page(visit.contact.user):  # a page lies with us, and has missed nothing
            threads = threads[1:]
        threads += [f"esc:{visit.id}:{call.id}" for call in visit.open_calls]
        people = [p.user for p in (visit.contact, visit.deputy) if p is not None]
        found = []
        for name in threads:
            info = await self._desk.store.thread_info(home, name)
            if info.channel and info.root:
                found.append(Where(info.channel, info.root, info.channel.startswith("D")))
            if info.channel.startswith("D"):
                found.append(Where(info.channel, direct=True))
        for user in people:
            info = await self._desk.store.thread_info(home, f"user:{user}")
            if info.channel:
                found.append(Where(info.channel, direct=True))
        return found

    async def _place(self, where: Where, since: int) -> int:
        """Bring in what stands there. Raises ``SendError`` at the end, of what was not answered."""
        brought = 0
        failed: SendError | None = None
        for message in await self._messages(where, since - BEFORE):
            for mark in on_message(message, where.channel, self._bot_user):
                await self._reactions.seen(mark)
            written = in_channel(message, where.channel, self._bot_user, direct=where.direct)
            if written is None:
                continue
            missed = (written.claimed_at or 0) >= since
            try:
                await self._hear(written, late=missed)
            except SendError as error:
                failed = error
            if written.to_bot:
                await self._orders.given(written)
            brought += 1
        if failed is not None:
            raise failed
        return brought

    async def _hear(self, written: Written, *, late: bool) -> None:
        """Nobody sends it again but we. Raises the last ``SendError``."""
        for _ in range(HEARINGS - 1):
            try:
                return await self._hearing.hear(written, "read back", late=late)
            except SendError as error:
                _log.warning("words read back are brought in again: %s", error.why)
                await self._sleep(AGAIN)
        return await self._hearing.hear(written, "read back", late=late)

    async def _messages(self, where: Where, since: int) -> list[dict[str, object]]:
        """Ask until the platform answers: while it does not, nobody's time runs.

        Where it answers, but not for this place, that is one place that cannot be read.
        """
        pause, tries = 1.0, 0
        while True:
            try:
                return await self._chat.messages(where.channel, where.root, since=since)
            except Passing as error:
                tries += 1
                if tries >= TRIES and await self._chat_answers():
                    raise
                wait = pause if error.wait is None else error.wait / 1000
                _log.warning("reading back waits %.0f s: %s", wait, error.why)
                await self._sleep(wait)
                pause = min(60.0, pause * 2)

    async def _chat_answers(self) -> bool:
        try:
            await who_am_i(self._chat)
        except SendError:
            return False
        return True
