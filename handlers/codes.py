"""Codes by which a visit is passed on: from what somebody wrote to the visit it belongs to.

Only the visit decides what a code does. Here tries are limited, and the name of the person's
account is kept with their personal data, since the site list does not know them.
"""

import logging

from bot.desk import Desk
from bot.model.people import person_key
from bot.model.subject import Subject
from bot.model.visit.code import codes_in, mark_of
from bot.model.visit.state import Visit
from bot.send.chat import ChatOut
from bot.send.errors import SendError
from bot.send.hints import account
from handlers.clock import Now
from handlers.written import Written

#: Tries of one person at once, and how many more each minute of wave time.
TRIES, PER_MINUTE = 5, 1
_log = logging.getLogger("musterline.codes")


class Codes:
    """Finds the visit of a code."""

    def __init__(self, desk: Desk, chat: ChatOut, now: Now) -> None:
        self._desk, self._chat, self._now = desk, chat, now

    async def meant(self, written: Written) -> Subject | str | None:
        """The visit whose code is in these words; ``None`` where there is none in them, and the
        key of what is to be said to who writes one that leads nowhere, or too many."""
        key = self._desk.surroundings.code_key
        found = list(codes_in(written.words)) if key and not written.edit else []
        if not found:
            return None
        store = self._desk.store
        tried = f"code:{written.user}"
        if await store.take(tried, now=self._now(), per_minute=PER_MINUTE, size=TRIES):
            return "handing_wait"
        for code in found:
            mark = mark_of(key, code)
            for subject in await store.find("code", mark):
                visit = await self._desk.state(subject)
                offer = visit.handing.offer if isinstance(visit, Visit) else None
                if offer is not None and offer.mark == mark:
                    await self._keep_name(written.user)
                    return subject
        return "handing_wrong"

    async def _keep_name(self, user: str) -> None:
        """The name on the account of somebody whom no list names."""
        store = self._desk.store
        if (await store.person_get(person_key(user))).get("name"):
            return
        try:
            found = await account(self._chat, user)
        except SendError as error:
            _log.warning("the name of %s could not be read: %s", user, error)
            return
        profile = found.get("profile") or {}
        name = found.get("real_name") or profile.get("real_name") or found.get("name") or ""
        await store.person_put(person_key(user), {"name": str(name)})
