"""Chat events in: each becomes a fact, and is acknowledged only after its commit.

The platform's own framework checks the signature and sorts the requests. It runs with
``process_before_response``, so that what fails here is answered 500 and sent again.
"""

import logging
import re
from collections.abc import Awaitable, Callable
from typing import Any

from slack_bolt.async_app import AsyncAck, AsyncApp
from slack_bolt.authorization import AuthorizeResult

from bot.desk import Desk
from bot.model.fact import AccountChanged, Joined, Pressed
from bot.model.subject import Subject, parse
from bot.model.visit.doubt import YES as DANGER_YES
from bot.model.visit.state import Visit
from bot.send.chat import ChatOut
from bot.send.errors import SendError
from bot.send.hints import whisper
from bot.send.mail import MailOut
from bot.speak.catalogue import REFERENCE, Catalogue
from bot.store.errors import StoreError
from handlers import reactions
from handlers.alarm import Alarm
from handlers.clock import Now
from handlers.commands import Commands
from handlers.hearing import Hearing
from handlers.mentions import Orders
from handlers.reactions import Reactions
from handlers.routing import visits_of
from handlers.staff import Staff
from handlers.written import deleted_in_event, in_event

_log = logging.getLogger("musterline.chat")
#: Outcomes of a press that are said to the one who pressed, and to nobody else.
_SAID = {
    "stale",
    "call_over",
    "not_yours",
    "not_taker",
    "taken",
    "not_critical",
    "put_off_enough",
    "nobody_else",
    "needs_reason",
    "stopped",
    "no_way_back",
    "swap_waits",
    "no_unit",
}


class Identity:
    """Who the bot is: fetched at start, kept in the store for a start during an outage."""

    def __init__(self, team: str, bot_user: str, bot_id: str, url: str = "") -> None:
        self.team, self.bot_user, self.bot_id, self.url = team, bot_user, bot_id, url


class ChatIn:
    """The listeners. ``app`` is the framework's application."""

    def __init__(
        self,
        *,
        desk: Desk,
        chat: ChatOut,
        catalogue: Catalogue,
        now: Now,
        identity: Identity,
        token: str,
        signing_secret: str,
        command: str,
        team_channel: str = "",
        mail: MailOut | None = None,
    ) -> None:
        self._desk, self._chat, self._catalogue, self._now = desk, chat, catalogue, now
        self.identity = identity
        self._commands = Commands(desk, catalogue, now, command)
        self.staff = Staff(desk, chat, catalogue, team_channel)
        self.orders = Orders(desk, chat, catalogue, now, identity.team)
        self.alarm = Alarm(desk, chat, catalogue, now, team_channel, mail)
        self.hearing = Hearing(
            desk, chat, catalogue, now, identity.team, identity.bot_user, self.alarm
        )
        self.reactions = Reactions(desk, now, identity.team)
        self.app = AsyncApp(
            signing_secret=signing_secret,
            authorize=_authorize(identity, token),
            process_before_response=True,
            request_verification_enabled=bool(signing_secret),
            raise_error_for_unhandled_request=False,
            ignoring_self_events_enabled=True,
        )
        self.app.event("message")(self._message)
        self.app.event("app_mention")(self._mention)
        self.app.event("reaction_added")(self._reaction)
        self.app.event("reaction_removed")(self._reaction_removed)
        self.app.event("member_joined_channel")(self._joined)
        self.app.event("user_change")(self._user_change)
        self.app.action(re.compile(r"^[a-z]:"))(self._press)
        self.app.command(command)(self._command)
        self.app.event(re.compile(".*"))(self._other)

    # --- words ---------------------------------------------------------------------------

    async def _message(self, event: dict[str, Any]) -> None:
        bot_user = self.identity.bot_user
        gone = deleted_in_event(event, bot_user)
        written = in_event(event, bot_user)
        if gone is not None:
            await self.hearing.gone(gone)
        elif written is not None:
            await self.hearing.hear(written, "message")

    async def _mention(self, event: dict[str, Any]) -> None:
        """Its words also come as a message; but where the bot is no member only as a mention,
        and danger counts wherever we can read."""
        written = in_event(event, self.identity.bot_user)
        if written is None:
            return
        if await self.hearing.safety.found(written) is not None:
            await self.hearing.hear(written, "app_mention")
        else:
            await self.orders.given(written)

    async def _reaction(self, event: dict[str, Any]) -> None:
        reaction = reactions.in_event(event, self.identity.bot_user)
        if reaction is not None:
            await self.reactions.seen(reaction)

    async def _reaction_removed(self, event: dict[str, Any]) -> None:
        """What was said by a mark stays said."""

    async def _joined(self, event: dict[str, Any]) -> None:
        """A person of a site came into its channel."""
        user, channel = str(event.get("user") or ""), str(event.get("channel") or "")
        for subject, visit in await visits_of(self._desk, user):
            if not visit.live or await self._channel_of(subject, visit) != channel:
                continue
            team = self.identity.team
            stamp = event.get("event_ts", "")
            await self._desk.receive(
                Joined(
                    id=f"joined:{team}:{channel}:{user}:{stamp}/{subject}",
                    subject=subject,
                    received_at=self._now(),
                    actor=self._desk.surroundings.roster.actor(user),
                )
            )

    async def _channel_of(self, subject: Subject, visit: Visit) -> str:
        return (await self._desk.store.thread_info(subject.home, f"site:{visit.id}")).channel

    # --- buttons, commands, accounts -------------------------------------------------------

    async def _press(self, ack: AsyncAck, body: dict[str, Any]) -> None:
        """A press is not sent again by the platform: what fails is shown as failed."""
        user = str(body["user"]["id"])
        channel = str((body.get("channel") or {}).get("id", ""))
        thread = str((body.get("message") or {}).get("thread_ts") or "")
        if str(body["actions"][0].get("action_id", "")).endswith(f":{DANGER_YES}"):
            await self.hearing.safety.confirmed(channel, thread)
        try:
            answer = await self._pressed(body, user, channel)
        except (StoreError, SendError):
            await self._aside(channel, user, thread, "press_failed")
            raise  # and the platform marks the button, since it is not acknowledged
        await ack()
        if answer in _SAID:
            await self._aside(channel, user, thread, f"press_{answer}")
        elif answer.startswith("which_"):
            await self._aside(channel, user, thread, answer)

    async def _pressed(self, body: dict[str, Any], user: str, channel: str) -> str:
        action = body["actions"][0]
        if str(action["action_id"]).startswith("w:"):
            return await self.hearing.chosen(str(action.get("value", "")), user)
        try:
            subject = parse(str(action.get("value", "")))
        except ValueError:
            return "stale"
        stamp = str((body.get("message") or {}).get("ts", ""))
        team = (body.get("team") or {}).get("id", "")
        outcome = await self._desk.receive(
            Pressed(
                id=f"press:{team}:{channel}:{stamp}:{action['action_id']}:{user}:{action['action_ts']}",
                subject=subject,
                received_at=self._now(),
                actor=self._desk.surroundings.roster.actor(user),
                action=str(action["action_id"]),
                stamp=stamp,
            )
        )
        return "stale" if outcome.answer == "kept" else outcome.answer

    async def _aside(self, channel: str, user: str, thread: str, key: str) -> None:
        text = self._catalogue.best(await self._language(user)).say(key, {})
        try:
            await whisper(self._chat, channel, user, text, thread)
        except SendError as error:
            _log.warning("a hint to %s could not be shown: %s", user, error)

    async def _language(self, user: str) -> str:
        """The language of somebody of a site; of others, or with the store away, English."""
        try:
            found = await visits_of(self._desk, user)
        except StoreError:
            return REFERENCE
        people = ((visit, visit.person(user)) for _, visit in found)
        return next((visit.lang_of(one) for visit, one in people if one), REFERENCE)

    async def _command(self, ack: AsyncAck, body: dict[str, Any]) -> None:
        await ack(await self._commands.answer(body))

    async def _user_change(self, event: dict[str, Any], body: dict[str, Any]) -> None:
        user = event.get("user") or {}
        await self.staff.changed(user)
        for subject in await self._desk.store.find("user", str(user.get("id", ""))):
            await self._desk.receive(
                AccountChanged(
                    id=f"account:{body.get('event_id', '')}/{subject}",
                    subject=subject,
                    received_at=self._now(),
                    user=str(user["id"]),
                    disabled=bool(user.get("deleted")),
                    name=str(user.get("name", "")),
                )
            )

    async def _other(self, event: dict[str, Any]) -> None:
        """Catches what no other listener takes, so that it is answered and seen in the log."""
        _log.info("an event of type %s is of no use here", event.get("type"))


def _authorize(identity: Identity, token: str) -> Callable[..., Awaitable[AuthorizeResult]]:
    """From what was fetched at start: a look-up here could fail and lose the event."""

    async def authorize() -> AuthorizeResult:
        return AuthorizeResult(
            enterprise_id=None,
            team_id=identity.team,
            bot_user_id=identity.bot_user,
            bot_id=identity.bot_id,
            bot_token=token,
        )

    return authorize
