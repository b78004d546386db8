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
from bot.model.danger import find as find_danger
from bot.model.fact import AccountChanged, Place, Pressed, Said
from bot.model.subject import parse
from bot.send.chat import ChatOut
from bot.send.danger import answer as answer_danger
from bot.send.errors import SendError
from bot.send.hints import say, whisper
from bot.speak.catalogue import Catalogue
from handlers.clock import Now
from handlers.commands import Commands
from handlers.mentions import ordered
from handlers.routing import Route, by_words, wave_of_channel

_log = logging.getLogger("musterline.chat")
#: Outcomes of a press that are said to the one who pressed, and to nobody else.
_SAID = {
    "stale",
    "not_yours",
    "not_taker",
    "taken",
    "not_critical",
    "put_off_enough",
    "nobody_else",
    "needs_reason",
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
    ) -> None:
        self._desk, self._chat, self._catalogue, self._now = desk, chat, catalogue, now
        self.identity = identity
        self._commands = Commands(desk, catalogue, now, command)
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
        self.app.event("user_change")(self._user_change)
        self.app.action(re.compile(r"^[aev]:"))(self._press)
        self.app.command(command)(self._command)
        self.app.event(re.compile(".*"))(self._other)

    # --- words ---------------------------------------------------------------------------

    async def _message(self, event: dict[str, Any], body: dict[str, Any]) -> None:
        subtype = event.get("subtype", "")
        edited = subtype == "message_changed"
        message = event.get("message", {}) if edited else event
        user = str(message.get("user", ""))
        if subtype == "message_deleted" or not user or user == self.identity.bot_user:
            return  # what was said stays said; the bot does not listen to itself
        if message.get("bot_id") or subtype in ("channel_join", "channel_leave", "group_join"):
            return
        channel, stamp = str(event["channel"]), str(message["ts"])
        thread = str(message.get("thread_ts") or "")
        files = tuple(
            " ".join(str(f.get(k) or "") for k in ("title", "name", "initial_comment")).strip()
            for f in message.get("files") or ()
        )
        words = str(message.get("text") or "")
        danger = self._is_danger("\n".join((words, *files)))
        if danger:
            await self._answer_danger(channel, thread, user)
        route = await by_words(self._desk, channel, thread, user)
        mark = str((message.get("edited") or {}).get("ts", "")) if edited else ""
        fact_id = f"chat:{body.get('team_id', '')}:{channel}:{stamp}" + (f":{mark}" if mark else "")
        direct = event.get("channel_type") == "im"
        place: Place = "thread" if route.in_thread else "direct" if direct else "channel"
        if route.subject is None and danger:
            route = Route(await wave_of_channel(self._desk, channel))
        if route.subject is None:
            await self._nobody(route, channel, stamp, direct)
            return
        await self._desk.receive(
            Said(
                id=fact_id,
                subject=route.subject,
                received_at=self._now(),
                claimed_at=_claimed(stamp),
                actor=self._desk.surroundings.roster.actor(user),
                words=words,
                place=place,
                edited=edited,
                stamp=stamp,
                files=files,
            )
        )

    def _is_danger(self, words: str) -> bool:
        return find_danger(words, tuple(self._desk.surroundings.lexicons.values())) is not None

    async def _answer_danger(self, channel: str, thread: str, user: str) -> None:
        """Before anything else, and whatever the store does. A failure here stops nothing."""
        try:
            await answer_danger(self._chat, self._catalogue, channel, thread, "en")
        except SendError:
            _log.exception("the safety answer to %s could not be sent", user)

    async def _nobody(self, route: Route, channel: str, stamp: str, direct: bool) -> None:
        """Words that belong to no visit: one kind line in a direct message, silence elsewhere."""
        if not (direct or route.several):
            return
        key = "which_visit" if route.several else "no_visit"
        await say(self._chat, channel, self._catalogue.best("en").say(key, {}), stamp)

    async def _mention(self, event: dict[str, Any], body: dict[str, Any]) -> None:
        """An order of the team inside a thread, where commands do not work."""
        user, channel = str(event.get("user", "")), str(event["channel"])
        route = await by_words(self._desk, channel, str(event.get("thread_ts") or ""), user)
        if route.subject is None or not route.in_thread:
            return
        fact = ordered(
            str(event.get("text", "")),
            route.subject,
            self._desk.surroundings.roster.actor(user),
            f"mention:{body.get('team_id', '')}:{channel}:{event['ts']}",
            self._now(),
        )
        if fact is not None:
            await self._desk.receive(fact)

    # --- buttons, commands, accounts -------------------------------------------------------

    async def _press(self, ack: AsyncAck, body: dict[str, Any]) -> None:
        """A press is not sent again by the platform: what fails is shown as failed."""
        action = body["actions"][0]
        user = str(body["user"]["id"])
        channel = str((body.get("channel") or {}).get("id", ""))
        message = body.get("message") or {}
        try:
            subject = parse(str(action.get("value", "")))
        except ValueError:
            await ack()
            return
        stamp = str(message.get("ts", ""))
        team = (body.get("team") or {}).get("id", "")
        outcome = await self._desk.receive(
            Pressed(
                id=f"press:{team}:{channel}:{stamp}:{action['action_id']}:{action['action_ts']}",
                subject=subject,
                received_at=self._now(),
                actor=self._desk.surroundings.roster.actor(user),
                action=str(action["action_id"]),
                stamp=stamp,
            )
        )
        await ack()
        if outcome.answer in _SAID:
            thread = str(message.get("thread_ts") or "")
            await self._aside(channel, user, thread, f"press_{outcome.answer}")

    async def _aside(self, channel: str, user: str, thread: str, key: str) -> None:
        text = self._catalogue.best("en").say(key, {})
        try:
            await whisper(self._chat, channel, user, text, thread)
        except SendError as error:
            _log.warning("a hint about a button could not be shown: %s", error)

    async def _command(self, ack: AsyncAck, body: dict[str, Any]) -> None:
        await ack(await self._commands.answer(body))

    async def _user_change(self, event: dict[str, Any], body: dict[str, Any]) -> None:
        user = event.get("user") or {}
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


def _claimed(stamp: str) -> int | None:
    """The time in the platform's stamp, for show only. The one place that reads a stamp."""
    try:
        return round(float(stamp) * 1000)
    except ValueError:
        return None
