"""Telling the team past the outbox, when what should tell them cannot: once for each matter.

One line in the team's channel, and mail to those whose turn it is; where the channel takes
nothing, a direct message to each of them. Needs neither the store nor the outbox.
"""

import asyncio
import logging
from collections import OrderedDict
from collections.abc import Mapping

from bot.desk import Desk
from bot.model.roster import Staff
from bot.send.chat import ChatOut
from bot.send.errors import SendError
from bot.send.hints import say
from bot.send.mail import MailOut
from bot.speak.catalogue import Catalogue
from bot.speak.render import in_chat
from handlers.clock import Now

_log = logging.getLogger("musterline.alarm")
_REMEMBERED = 1000


class Alarm:
    """``channel`` is the team's own; ``mail`` is absent where no mail server is set."""

    def __init__(
        self,
        desk: Desk,
        chat: ChatOut,
        catalogue: Catalogue,
        now: Now,
        channel: str,
        mail: MailOut | None = None,
    ) -> None:
        self._desk, self._chat, self._catalogue, self._now = desk, chat, catalogue, now
        self._channel, self._mail = channel, mail
        self._told: OrderedDict[str, None] = OrderedDict()

    async def team(self, matter: str, key: str, args: Mapping[str, str]) -> bool:
        """Channel and mail; direct messages where the channel fails. Whether anybody was told."""
        if matter in self._told:
            return True
        text = self._text(key, args)
        mails = asyncio.create_task(self._mails(matter, key, args))
        shown = await self._say(self._channel, text) if self._channel else False
        directly = False if shown else await self._direct(text)
        return self._remember(matter, told=any((shown, directly, await mails)))

    async def people(self, matter: str, key: str, args: Mapping[str, str]) -> bool:
        """The same without the channel, which is what does not work."""
        if matter in self._told:
            return True
        mails = asyncio.create_task(self._mails(matter, key, args))
        directly = await self._direct(self._text(key, args))
        return self._remember(matter, told=any((directly, await mails)))

    def _text(self, key: str, args: Mapping[str, str]) -> str:
        text = self._catalogue.best("en").say(key, args, show=in_chat)
        _log.error("to the team: %s", text)
        return text

    def _remember(self, matter: str, *, told: bool) -> bool:
        if told:
            self._told[matter] = None
        while len(self._told) > _REMEMBERED:
            self._told.popitem(last=False)
        return told

    def _on_duty(self) -> list[Staff]:
        roster, now = self._desk.surroundings.roster, self._now()
        found = {s.user: s for duty in ("oncall", "admin") for s in roster.on_duty(duty, now)}
        return list(found.values())

    async def _direct(self, text: str) -> bool:
        told = False
        for staff in self._on_duty():
            try:
                channel = await self._chat.open_direct(staff.user)
            except SendError as error:
                _log.error("%s could not be told directly: %s", staff.name, error.why)
                continue
            told = await self._say(channel, text) or told
        return told

    async def _say(self, channel: str, text: str) -> bool:
        try:
            await say(self._chat, channel, text)
        except SendError as error:
            _log.error("%s could not be told: %s", channel, error.why)
            return False
        return True

    async def _mails(self, matter: str, key: str, args: Mapping[str, str]) -> bool:
        if self._mail is None:
            return False
        texts = self._catalogue.best("en")
        subject, body = texts.say("alarm_mail_subject", {}), texts.say(key, args)
        told = False
        for staff in self._on_duty():
            if not staff.mail:
                continue
            ident = f"alarm:{matter}:{staff.mail}"
            try:
                await self._mail.send(
                    to=staff.mail, subject=subject, body=body, ident=ident, at=self._now()
                )
            except SendError as error:
                _log.error("%s could not be told by mail: %s", staff.name, error.why)
            else:
                told = True
        return told
