"""One claimed message to the outside: where it goes, whether it is there already, how it looks."""

import logging
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, field

from bot.model.message import Message
from bot.press_links import PressLinks
from bot.send import pages
from bot.send.chat import ChatOut, Posted
from bot.send.errors import (
    ChannelAway,
    EditRefused,
    MessageRefused,
    Passing,
    PersonAway,
    SendError,
    ThreadGone,
    TooLate,
)
from bot.send.mail import MailOut
from bot.send.pages import PageLinks
from bot.send.ports import OutboxStore, People, Probe
from bot.send.ringing import KINDS, data_of, link_of, target_of
from bot.send.webhook import WebhookOut
from bot.speak import render
from bot.speak.catalogue import Catalogue, CatalogueError
from bot.speak.render import Rendered
from bot.store.outbox import Thread

#: How far the platform's clock and ours may lie apart when a thread is read back, ms.
SLACK_OF_CLOCKS = 300_000
_log = logging.getLogger("musterline.send")


@dataclass(frozen=True)
class Hooks:
    """Webhooks, the links in them and in mails, and what rings a person: name and number."""

    out: WebhookOut | None = None
    links: PressLinks | None = None
    people: Mapping[str, Mapping[str, str]] = field(default_factory=dict)


#: Renews our lease of the thread, before each call that posts.
Renew = Callable[[], Awaitable[None]]


@dataclass(frozen=True)
class Job:
    """A claimed message and its place (a channel's id, or a person's chat id)."""

    home: str
    message: Message
    place: str
    info: Thread
    doubt: bool  # an earlier attempt may have left it there
    late: bool = False  # only to be looked for, not worth sending any more


def is_person(place: str) -> bool:
    """Whether a place is a person's chat id, and no channel yet."""
    return place[:1] in {"U", "W"}


class Deliver:
    """Sends claimed messages. Raises ``SendError`` and leaves the outbox to the sender."""

    def __init__(
        self,
        store: OutboxStore,
        chat: ChatOut,
        catalogue: Catalogue,
        people: People,
        mail: MailOut | None,
        probe: Probe,
        links: PageLinks | None = None,
        hooks: Hooks | None = None,
    ) -> None:
        self._hooks = hooks or Hooks()
        self._store, self._chat, self._catalogue = store, chat, catalogue
        self._people, self._mail, self._probe = people, mail, probe
        self._pages = links
        self._links: dict[tuple[str, str], str] = {}

    async def chat(self, job: Job, renew: Renew) -> tuple[Posted, str]:
        """Post or edit; where it is now, and why it could not be pinned (or nothing)."""
        try:
            return await self._chat_job(job, renew)
        except ChannelAway as error:
            if job.message.thread.startswith("user:") and not error.everywhere:
                raise PersonAway(error.why) from error
            raise

    async def _chat_job(self, job: Job, renew: Renew) -> tuple[Posted, str]:
        message = job.message
        channel = await self._channel(job.place)
        posted = await self._adopted(job, channel) if job.doubt else None
        if posted is None:
            if job.late:
                raise TooLate("its time has passed")
            rendered = await self._rendered(message)
            await renew()
            self._probe("post.before")
            posted = await self._put(job, channel, rendered, renew)
            self._probe("post.after")
        return posted, await self._pinned(job, posted)

    async def _channel(self, place: str) -> str:
        return await self._chat.open_direct(place) if is_person(place) else place

    async def _adopted(self, job: Job, channel: str) -> Posted | None:
        """The copy that an earlier attempt left, if there is one."""
        message = job.message
        since = message.made_at - SLACK_OF_CLOCKS
        thread = "" if message.root else job.info.root
        try:
            seen = await self._chat.ours(channel, thread, since=since)
        except ThreadGone:
            return None
        for one in seen:
            if one.id == message.id and one.rev == message.rev:
                _log.info("message %s was there already: adopted", message.id)
                return Posted(channel, one.stamp)
        return None

    async def _put(self, job: Job, channel: str, rendered: Rendered, renew: Renew) -> Posted:
        message, old = job.message, recorded(job.message, job.info, channel)
        if old:
            try:
                return await self._chat.update(channel, old, rendered)
            except EditRefused as error:
                _log.info("message %s cannot be edited (%s): posted anew", message.id, error.why)
                await renew()
        thread = "" if message.root else job.info.root
        try:
            posted = await self._chat.post(channel, rendered, thread)
        except ThreadGone:
            await renew()
            posted = await self._chat.post(channel, rendered)
        if old:
            await self._remove_old(channel, old)
        return posted

    async def _remove_old(self, channel: str, stamp: str) -> None:
        """The message that could not be edited must not stand beside the new one."""
        try:
            await self._chat.delete(channel, stamp)
        except SendError as error:
            _log.warning("the message that %s replaces could not be deleted: %s", stamp, error)

    async def _pinned(self, job: Job, posted: Posted) -> str:
        already = recorded(job.message, job.info, posted.channel) == posted.stamp
        if job.message.slot != "pin" or already:
            return ""
        try:
            await self._chat.pin(posted.channel, posted.stamp)
        except Passing:
            raise
        except SendError as error:
            return error.why
        return ""

    async def _rendered(self, message: Message) -> Rendered:
        try:
            return await render.render(message, self._catalogue, self._people, self.link)
        except CatalogueError as error:
            raise MessageRefused(str(error)) from error

    async def link(self, home: str, thread: str) -> str:
        """Web address of a thread's first message; empty when there is none to be had."""
        if pages.is_ours(thread):
            return self._pages.found(home, thread) if self._pages else ""
        info = await self._store.thread_info(home, thread)
        if not info.root or not info.channel:
            return ""
        key = (info.channel, info.root)
        if key not in self._links:
            try:
                self._links[key] = await self._chat.permalink(*key)
            except SendError as error:
                _log.warning("no link to %s of %s: %s", thread, home, error)
                return ""
        return self._links[key]

    async def mail(self, message: Message) -> str:
        """Send by mail; its Message-ID."""
        if self._mail is None:
            raise PersonAway("no mail server is set")
        to = message.thread.removeprefix("mail:")
        person = pages.person_of(message)
        if person is not None:
            to = pages.address(await self._people(person[0]), person[1])
        try:
            args = await self._arguments(message)
            subject, body = render.plain(message, self._catalogue, args)
            if person is not None:
                subject, body = pages.letter(message, self._catalogue, args, body)
        except CatalogueError as error:
            raise MessageRefused(str(error)) from error
        self._probe("post.before")
        ident = await self._mail.send(
            to=to, subject=subject, body=body, ident=message.id, at=message.made_at
        )
        self._probe("post.after")
        return ident

    async def _arguments(self, message: Message) -> dict[str, str]:
        """Its arguments in words; ``press`` is the link that stands for the button."""
        args = await render.resolved(message, self._catalogue, self._people, self.link)
        press = link_of(message, self._hooks.links)
        return args | {"press": press} if press else args

    async def webhook(self, message: Message) -> str:
        """Send by an outgoing webhook; the event's id."""
        hooks = self._hooks
        if hooks.out is None:
            raise PersonAway("no webhook is set")
        try:
            args = await self._arguments(message)
            _, say = render.plain(message, self._catalogue, args)
        except CatalogueError as error:
            raise MessageRefused(str(error)) from error
        person = hooks.people.get(message.to, {})
        self._probe("post.before")
        ident = await hooks.out.send(
            target_of(message),
            KINDS[message.template],
            ident=message.id,
            at=message.made_at,
            data=data_of(message, say, args.get("press", ""), person),
        )
        self._probe("post.after")
        return ident


def recorded(message: Message, info: Thread, channel: str) -> str:
    """Stamp of the message that this one is an edit of; empty when there is none."""
    if not message.slot or info.channel != channel:
        return ""
    return info.slots.get(message.slot, ("", 0))[0]
