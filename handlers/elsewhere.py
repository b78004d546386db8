"""Words outside a visit's thread: where the answer is, which visit is meant, or that there is none.

All of it is said where the person wrote: to them alone in a channel, openly in a conversation
with us. Each is a hint that may be lost without harm; the words themselves are not.
"""

import logging
from collections import OrderedDict
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from bot.desk import Desk
from bot.model.policy import MINUTE
from bot.model.subject import Subject, parse
from bot.model.visit.state import Visit
from bot.send.chat import ChatOut
from bot.send.errors import SendError
from bot.send.hints import one_message, say, whisper
from bot.speak.catalogue import LABEL_LENGTH, Catalogue
from bot.speak.render import in_chat
from handlers.clock import Now
from handlers.routing import Found, visits_of
from handlers.written import Written, in_channel

#: How long a button that asks which visit is meant stays good, ms of wave time.
GOOD_FOR = 30 * MINUTE
_MOST_BUTTONS = 10
_REMEMBERED = 1000
_log = logging.getLogger("musterline.elsewhere")


class Elsewhere:
    """Hints to people who write outside a thread. ``bot_user`` is our own account."""

    def __init__(
        self, desk: Desk, chat: ChatOut, catalogue: Catalogue, now: Now, bot_user: str, team: str
    ) -> None:
        self._desk, self._chat, self._catalogue, self._now = desk, chat, catalogue, now
        self._bot_user, self._team = bot_user, team
        self._greeted: OrderedDict[str, None] = OrderedDict()

    async def point(self, written: Written, subject: Subject) -> None:
        """One line with the way to the thread in which the answer stands."""
        visit = await self._desk.state(subject)
        if not isinstance(visit, Visit):
            return
        name = self._desk.surroundings.thread_of(visit)
        info = await self._desk.store.thread_info(subject.home, name)
        try:
            link = await self._chat.permalink(info.channel, info.root) if info.root else ""
        except SendError as error:
            _log.warning("no link to the thread of %s: %s", subject, error.why)
            link = ""
        args = {"site": visit.site.name, "link": link}
        await self._tell(written, "elsewhere", args, lang=_language(visit, written.user))

    async def nobody(self, written: Written) -> None:
        """One kind line a day to somebody without a visit who writes to us directly."""
        if not written.direct:
            return
        day = datetime.fromtimestamp(self._now() / 1000, UTC).date().isoformat()
        key = f"{written.user}/{day}"
        if key in self._greeted:
            return
        self._greeted[key] = None
        while len(self._greeted) > _REMEMBERED:
            self._greeted.popitem(last=False)
        await self._tell(written, "no_visit", {})

    async def no_code(self, written: Written, key: str) -> None:
        """A code that leads nowhere, or too many tries."""
        await self._tell(written, key, {})

    async def which(self, written: Written, found: tuple[Found, ...]) -> None:
        """Ask which visit is meant. Each button says which message is to be brought there."""
        buttons = [
            {
                "type": "button",
                "action_id": f"w:{number}",
                "value": _value(written, subject),
                "text": {"type": "plain_text", "text": visit.site.name[:LABEL_LENGTH]},
            }
            for number, (subject, visit) in enumerate(found[:_MOST_BUTTONS])
        ]
        lang = _language(found[0][1], written.user)
        await self._tell(written, "which_visit", {}, lang=lang, buttons=buttons)

    async def meant(self, value: str, user: str) -> tuple[Written, Subject] | str:
        """The words that a press brings to a visit, or the key of why it does not.

        Raises ``SendError`` when the words cannot be read now: then it may be pressed again.
        """
        try:
            channel, stamp, thread, name = value.split(" ", 3)
            subject = parse(name)
        except ValueError:
            return "which_stale"
        visits = dict(await visits_of(self._desk, user))
        visit = visits.get(subject)
        message = await one_message(self._chat, channel, stamp, thread.strip("-"))
        direct = channel.startswith("D")
        written = in_channel(message, channel, self._bot_user, direct=direct) if message else None
        if written is None or written.user != user or visit is None or not visit.live:
            return "which_stale"
        if self._now() - (written.claimed_at or 0) > GOOD_FOR:
            return "which_stale"
        first = replace(written, edit="").fact_id(self._team)
        for home in {found.home for found in visits}:
            if await self._desk.store.knows(home, first):
                return "which_taken"
        return written, subject

    async def _tell(
        self,
        written: Written,
        key: str,
        args: dict[str, str],
        *,
        lang: str = "en",
        buttons: list[dict[str, Any]] | None = None,
    ) -> None:
        text = self._catalogue.best(lang).say(key, args, show=in_chat)
        try:
            if written.direct:
                await say(self._chat, written.channel, text, written.thread, buttons)
            else:
                user = written.user
                await whisper(self._chat, written.channel, user, text, written.thread, buttons)
        except SendError as error:
            _log.warning("a hint to %s could not be shown: %s", written.user, error)


def _value(written: Written, subject: Subject) -> str:
    return f"{written.channel} {written.stamp} {written.thread or '-'} {subject}"


def _language(visit: Visit, user: str) -> str:
    """The one that this person has chosen, or the list gave them."""
    return visit.lang_of(visit.person(user) or visit.contact)
