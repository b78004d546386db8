"""The stand-in chat server: what a test or a rehearsal holds in its hand."""

import asyncio
from collections.abc import Callable, Coroutine, Iterable
from dataclasses import dataclass
from typing import Any

from aiohttp import web

from bot.practice.chatserver.answers import Json, Refused
from bot.practice.chatserver.delivery import Delivery, Sender
from bot.practice.chatserver.events import (
    block_actions,
    client_id,
    envelope,
    find_action,
    inner_events,
    slash_command,
    typed,
)
from bot.practice.chatserver.faults import Faults
from bot.practice.chatserver.methods.reactions import react
from bot.practice.chatserver.methods.users import describe
from bot.practice.chatserver.ratelimit import RateLimits
from bot.practice.chatserver.specs import ALL_SCOPES
from bot.practice.chatserver.state import Change, Channel, User, Workspace
from bot.practice.chatserver.web import ApiCall, WebApi


class NotThere(KeyError):
    """What a person wants to touch is not there: no such channel, message or button."""


@dataclass(frozen=True)
class Posted:
    """Something the bot did to a message: posted, updated, deleted, ephemeral, pinned,
    unpinned, reacted or unreacted. `at` is wave time (ms); `channel` the channel's id."""

    kind: str
    channel: str
    message: Json
    at: int


class ChatServer:
    """A chat platform on this machine: Web API, events, presses, commands.

    clock: wave time in ms, which stamps messages and counts rate limits.
    echo: the app's own messages come back to it as events, as the platform does.
    background: what people do does not wait for the app's acknowledgement.
    """

    def __init__(
        self,
        *,
        clock: Callable[[], int],
        signing_secret: str,
        bot_token: str = "xoxb-practice",
        app_token: str = "xapp-practice",
        scopes: frozenset[str] = ALL_SCOPES,
        strict: bool = True,
        echo: bool = True,
        background: bool = False,
    ) -> None:
        self.clock = clock
        self.workspace = Workspace(clock)
        self.limits = RateLimits(clock)
        self.faults = Faults()
        self.sender = Sender(clock, signing_secret)
        self.echo = echo
        self.background = background
        self.events_url: str | None = None
        self.interactive_url: str | None = None
        self.command_url: str | None = None
        self.on_post: list[Callable[[Posted], None]] = []
        self._tasks: set[asyncio.Task[Any]] = set()
        self._runner: web.AppRunner | None = None
        self.api = WebApi(
            self.workspace,
            self.limits,
            self.faults,
            bot_token,
            app_token,
            scopes,
            strict,
            self._after_call,
            self._socket_url,
        )

    # running

    async def start(self, port: int = 0) -> str:
        """Listen on loopback; the base URL for the client, ending in /api/."""
        app = web.Application(client_max_size=4 * 1024 * 1024)
        app.router.add_route("*", "/api/{method}", self.api.handle)
        self._runner = web.AppRunner(app, access_log=None, shutdown_timeout=0.5)
        await self._runner.setup()
        site = web.TCPSite(self._runner, "127.0.0.1", port)
        await site.start()
        host, bound = self._runner.addresses[0][:2]
        self.api.base_url = f"http://{host}:{bound}"
        return f"{self.api.base_url}/api/"

    async def stop(self) -> None:
        self.faults.clear()
        for task in list(self._tasks):
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        await self.sender.close()
        if self._runner is not None:
            await self._runner.cleanup()
            self._runner = None

    @property
    def calls(self) -> list[ApiCall]:
        return self.api.calls

    @property
    def in_flight(self) -> int:
        """Requests to the app not yet answered, and those about to be sent."""
        return max(self.sender.in_flight, len(self._tasks))

    @property
    def pending(self) -> int:
        """Requests to the app not yet answered, and redeliveries waiting for their time."""
        return self.in_flight + self.sender.waiting

    def next_due(self) -> int | None:
        """Wave time (ms) of the next redelivery."""
        return self.sender.next_due()

    async def deliver_due(self, now: int) -> int:
        """Send what is due for redelivery at `now` (ms); how many were sent."""
        return await self.sender.deliver_due(now)

    async def settle(self) -> None:
        """Wait until nothing is on its way to the app (redeliveries may wait in time)."""
        while self._tasks:
            await asyncio.gather(*self._tasks, return_exceptions=True)

    # people and channels

    @property
    def bot_user(self) -> str:
        return self.workspace.bot_user

    def add_channel(
        self, name: str, *, id: str | None = None, private: bool = False, members: Iterable[str] = ()
    ) -> str:
        """A channel with the bot and these people in it; its id."""
        who = {self.workspace.bot_user: None, **dict.fromkeys(members)}
        made = id or self.workspace.make_id("C")
        kind = "group" if private else "channel"
        channel = Channel(made, name, kind=kind, members=who)  # type: ignore[arg-type]
        return self.workspace.add_channel(channel).id

    def add_user(
        self,
        id: str,
        name: str,
        *,
        tz: str = "Europe/London",
        locale: str = "en-GB",
        deleted: bool = False,
    ) -> str:
        self.workspace.add_user(User(id, name, tz=tz, locale=locale, deleted=deleted))
        return id

    def _channel(self, channel: str) -> Channel:
        found = self.workspace.channels.get(channel)
        if found is None:
            raise NotThere(f"no channel {channel}")
        return found

    def _message(self, channel: str, ts: str) -> Json:
        found = self._channel(channel).messages.get(ts)
        if found is None:
            raise NotThere(f"no message {ts} in {channel}")
        return found

    # what people do

    async def say(
        self,
        user: str,
        channel: str,
        text: str,
        *,
        thread_ts: str | None = None,
        files: Iterable[Json] = (),
    ) -> str:
        """A person writes; the stamp of the message."""
        place = self._channel(channel)
        message: Json = {
            "type": "message",
            "user": user,
            "text": typed(text),
            "team": self.workspace.team_id,
        }
        attached = list(files)
        if attached:
            message.update(subtype="file_share", files=attached)
        if thread_ts is not None:
            parent = self._message(channel, thread_ts)
            message["thread_ts"] = parent.get("thread_ts", thread_ts)
        place.members.setdefault(user, None)
        posted = self.workspace.post(place, message, user)
        await self._tell()
        return str(posted["ts"])

    async def mention(
        self, user: str, channel: str, text: str, *, thread_ts: str | None = None
    ) -> str:
        """A person writes to the bot by name: a message and an app_mention event."""
        whole = f"<@{self.workspace.bot_user}> {text}"
        return await self.say(user, channel, whole, thread_ts=thread_ts)

    async def dm(self, user: str, text: str) -> str:
        """A person writes to the bot directly."""
        return await self.say(user, self.workspace.dm_with(user).id, text)

    async def edit(self, user: str, channel: str, ts: str, text: str) -> None:
        self._message(channel, ts)
        edited = {"user": user, "ts": f"{self.clock() // 1000}.000000"}
        fields = {"text": typed(text), "edited": edited}
        self.workspace.change(self._channel(channel), ts, fields, user)
        await self._tell()

    async def delete(self, user: str, channel: str, ts: str) -> None:
        """A person deletes a message (an admin may delete the bot's)."""
        self._message(channel, ts)
        self.workspace.delete(self._channel(channel), ts, user)
        await self._tell()

    async def react(self, user: str, channel: str, ts: str, name: str) -> None:
        message = self._message(channel, ts)
        react(self.workspace, self._channel(channel), message, name, user)
        await self._tell()

    async def change_user(
        self, user: str, *, deleted: bool | None = None, name: str | None = None
    ) -> None:
        """An account is disabled, enabled or renamed: a user_change event."""
        who = self.workspace.users[user]
        who.deleted = who.deleted if deleted is None else deleted
        who.name = who.name if name is None else name
        who.updated = self.clock() // 1000
        shown = describe(self.workspace, who, locale=True)
        stamp = f"{who.updated}.000000"
        event = {"type": "user_change", "user": shown, "cache_ts": who.updated, "event_ts": stamp}
        await self._deliver([self.sender.event(envelope(self.workspace, event))])

    async def press(
        self,
        user: str,
        channel: str,
        ts: str,
        action_id: str,
        *,
        block_id: str | None = None,
        option: str | None = None,
    ) -> Delivery:
        """A person presses a button of the message as it stands now.

        `option` is the value chosen in a select or overflow menu. Raises NotThere (a
        KeyError) when message, button or option is not there. Not resent when it fails.
        """
        message = self._message(channel, ts)
        action = find_action(message, action_id, block_id)
        if action is None:
            raise NotThere(f"no button {action_id} in message {ts}")
        place = self._channel(channel)
        body = block_actions(
            self.workspace,
            place,
            dict(message),
            user,
            self._acted(action, option),
            self._response_url(),
        )
        return await self.sender.send("interactive", body)

    def _acted(self, element: Json, option: str | None) -> Json:
        """The action of an interaction: the element as pressed, with its stamp."""
        names = ("action_id", "block_id", "type", "text", "value", "style", "url", "confirm")
        action = {name: element[name] for name in names if name in element}
        action["action_ts"] = f"{self.clock() // 1000}.{self.clock() % 1000:03d}000"
        if element["type"] != "button":
            chosen = [o for o in element["options"] if o["value"] == option]
            if not chosen:
                raise NotThere(f"no option {option} in {element['action_id']}")
            action["selected_option"] = chosen[0]
        return action

    async def command(self, user: str, channel: str, command: str, text: str) -> Delivery:
        """A person sends a slash command. Not resent when it fails."""
        place = self._channel(channel)
        fields = slash_command(
            self.workspace, place, user, command, text, self._response_url()
        )
        return await self.sender.send("command", fields)

    # what one can see

    def messages(self, channel: str) -> list[Json]:
        """All messages of a channel, threads included, by stamp."""
        found = self._channel(channel).messages
        return [found[ts] for ts in sorted(found)]

    def thread(self, channel: str, ts: str) -> list[Json]:
        """A thread, its root first."""
        place = self._channel(channel)
        root = self._message(channel, ts)
        micros = place.replies(ts)
        return [root, *(place.messages[f"{m // 1_000_000}.{m % 1_000_000:06d}"] for m in micros)]

    def pins(self, channel: str) -> list[Json]:
        """Pinned messages, oldest pin first."""
        place = self._channel(channel)
        return [place.messages[ts] for ts in place.pins]

    # telling the app

    def _after_call(self) -> None:
        """After a Web API call: hooks, and the app's own doing back to it as events."""
        for change in self.workspace.take_changes():
            posted = Posted(change.kind, change.channel.id, change.message, self.clock())
            for hook in self.on_post:
                hook(posted)
            if self.echo:
                for send in self._sends(change):
                    self._spawn(send)

    async def _tell(self) -> None:
        sends = [s for change in self.workspace.take_changes() for s in self._sends(change)]
        await self._deliver(sends)

    def _sends(self, change: Change) -> list[Coroutine[Any, Any, Delivery]]:
        if self.workspace.bot_user not in change.channel.members or self._events() is None:
            return []
        events = inner_events(self.workspace, change)
        return [self.sender.event(envelope(self.workspace, event)) for event in events]

    async def _deliver(self, sends: list[Coroutine[Any, Any, Delivery]]) -> None:
        tasks = [self._spawn(send) for send in sends]
        if tasks and not self.background:
            await asyncio.gather(*tasks)

    def _spawn(self, send: Coroutine[Any, Any, Delivery]) -> asyncio.Task[Delivery]:
        self._events()
        task = asyncio.ensure_future(send)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)
        return task

    def _events(self) -> str | None:
        """Take over the addresses as they are set now."""
        self.sender.urls = {
            "event": self.events_url,
            "interactive": self.interactive_url or self.events_url,
            "command": self.command_url or self.events_url,
        }
        return self.events_url

    def _response_url(self) -> str:
        self._events()
        return f"{self.api.base_url}/response/{self.workspace.make_id('R')}"

    def _socket_url(self) -> str:
        raise Refused("internal_error")
