"""The stand-in chat server: what a test or a rehearsal holds in its hand."""

import asyncio
from collections.abc import Callable, Coroutine, Iterable
from dataclasses import dataclass
from typing import Any

from aiohttp import web

from bot.practice.chatserver.answers import Json
from bot.practice.chatserver.attempt import Delivery
from bot.practice.chatserver.delivery import Sender
from bot.practice.chatserver.events import (
    envelope,
    inner_events,
    needed_scope,
    url_verification,
)
from bot.practice.chatserver.faults import Faults
from bot.practice.chatserver.methods import Rules
from bot.practice.chatserver.people import People
from bot.practice.chatserver.ratelimit import RateLimits
from bot.practice.chatserver.responses import Responses, answer
from bot.practice.chatserver.socketmode import Sockets
from bot.practice.chatserver.specs import ALL_SCOPES
from bot.practice.chatserver.state import Change, Channel, ChannelKind, User, Workspace, stamp
from bot.practice.chatserver.transport import Http, OverSockets, Transport
from bot.practice.chatserver.web import ApiCall, WebApi

BOT_TOKEN = "xoxb-practice"  # noqa: S105  of the stand-in, known to all
APP_TOKEN = "xapp-practice"  # noqa: S105


@dataclass(frozen=True)
class Posted:
    """Something the bot did to a message: posted, updated, deleted, ephemeral, pinned,
    unpinned, reacted or unreacted. `at` is wave time (ms); `channel` the channel's id."""

    kind: str
    channel: str
    message: Json
    at: int


class ChatServer(People):
    """A chat platform on this machine: Web API, events, presses, commands.

    clock: wave time in ms, which stamps messages, counts rate limits and dates redeliveries.
    strict: unknown arguments and unknown threads are refused (see `specs` and `methods.chat`).
    echo: what the app does comes back to it as events, as on the platform.
    background: what people do does not wait for the app's acknowledgement.
    socket_mode: the app is reached over its websocket instead of its addresses.
    """

    def __init__(
        self,
        *,
        clock: Callable[[], int],
        signing_secret: str,
        bot_token: str = BOT_TOKEN,
        app_token: str = APP_TOKEN,
        scopes: frozenset[str] = ALL_SCOPES,
        strict: bool = True,
        echo: bool = True,
        background: bool = False,
        socket_mode: bool = False,
    ) -> None:
        self.clock = clock
        self.workspace = Workspace(clock)
        self.limits = RateLimits(clock)
        self.faults = Faults()
        self.sockets = Sockets(self.workspace.app_id)
        self.sender = Sender(clock, self._transport)
        self.responses = Responses(self.workspace)
        self.echo = echo
        self.background = background
        self.socket_mode = socket_mode
        self.events_url: str | None = None
        self.interactive_url: str | None = None
        self.command_url: str | None = None
        self.base_url = ""
        self.holding = False  # what people do is kept on its way, until `let_go`
        self._held: list[Change] = []
        self.on_post: list[Callable[[Posted], None]] = []
        self._http = Http(signing_secret)
        self._over_sockets = OverSockets(self.sockets)
        self._tasks: set[asyncio.Task[Delivery]] = set()
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
            Rules(refuse_unknown_thread=strict),
        )

    # running

    async def start(self, port: int = 0) -> str:
        """Listen on loopback; the base URL for the client, ending in /api/."""
        app = web.Application(client_max_size=4 * 1024 * 1024)
        app.router.add_route("*", "/api/{method}", self.api.handle)
        app.router.add_post("/response/{name}", self._answered)
        app.router.add_get("/link/", self.sockets.handle)
        self._runner = web.AppRunner(app, access_log=None, shutdown_timeout=0.5)
        await self._runner.setup()
        site = web.TCPSite(self._runner, "127.0.0.1", port)
        await site.start()
        host, bound = self._runner.addresses[0][:2]
        self.base_url = f"http://{host}:{bound}"
        return f"{self.base_url}/api/"

    async def stop(self) -> None:
        """Close everything; what is under way is dropped."""
        self.faults.clear()
        for task in list(self._tasks):
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        await self.sockets.cut()
        await self._http.close()
        if self._runner is not None:
            await self._runner.cleanup()
            self._runner = None

    @property
    def calls(self) -> list[ApiCall]:
        """Every Web API call so far, in the order they came."""
        return self.api.calls

    @property
    def deliveries(self) -> list[Delivery]:
        """Every attempt to reach the app so far."""
        return self.sender.log

    @property
    def rules(self) -> Rules:
        """What the stand-in does where the documentation is silent."""
        return self.api.rules

    @property
    def in_flight(self) -> int:
        """Requests to the app not yet answered, and answers held back by a fault."""
        return max(self.sender.in_flight, len(self._tasks)) + self.api.open_calls

    @property
    def pending(self) -> int:
        """What is in flight, and redeliveries waiting for their time."""
        return self.in_flight + self.sender.waiting

    def next_due(self) -> int | None:
        """Wave time (ms) of the next redelivery, None when there is none."""
        return self.sender.next_due()

    async def deliver_due(self, now: int) -> int:
        """Send what is due for redelivery at `now` (ms); how many were sent."""
        return await self.sender.deliver_due(now)

    async def settle(self) -> None:
        """Wait until nothing is on its way to the app (redeliveries may wait in time)."""
        while self._tasks:
            await asyncio.gather(*self._tasks, return_exceptions=True)

    async def verify_url(self) -> bool:
        """Prove the events address as the platform does when it is entered."""
        challenge = self.workspace.make_id("challenge")
        delivery = await self.sender.send("event", url_verification(challenge))
        return delivery.ok and challenge in delivery.body

    def snapshot(self) -> Json:
        """All that is stored, as JSON data: people, channels, messages, redeliveries."""
        return {"workspace": self.workspace.snapshot(), "due": self.sender.snapshot()}

    def restore(self, saved: Json) -> None:
        """Take over what `snapshot` gave."""
        self.workspace.restore(saved["workspace"])
        self.sender.restore(saved["due"])

    # people and channels

    @property
    def bot_user(self) -> str:
        return self.workspace.bot_user

    def add_channel(
        self,
        name: str,
        *,
        id: str | None = None,  # noqa: A002  the platform's own word
        private: bool = False,
        members: Iterable[str] = (),
        with_bot: bool = True,
    ) -> str:
        """A channel with these people, and the bot, in it; its id."""
        who = dict.fromkeys([*([self.bot_user] if with_bot else []), *members])
        kind: ChannelKind = "group" if private else "channel"
        made = id or self.workspace.make_id("C")
        return self.workspace.add_channel(Channel(made, name, kind=kind, members=who)).id

    def add_user(
        self,
        id: str,  # noqa: A002  the platform's own word
        name: str,
        *,
        tz: str = "Europe/London",
        locale: str = "en-GB",
        deleted: bool = False,
    ) -> str:
        """An account; its id."""
        self.workspace.add_user(User(id, name, tz=tz, locale=locale, deleted=deleted))
        return id

    # what one can see

    def messages(self, channel: str) -> list[Json]:
        """All messages of a channel, threads included, by stamp."""
        found = self._channel(channel).messages
        return [found[ts] for ts in sorted(found)]

    def thread(self, channel: str, ts: str) -> list[Json]:
        """A thread, its root first."""
        place = self._channel(channel)
        replies = [place.messages[stamp(micros)] for micros in place.replies(ts)]
        return [self._message(channel, ts), *replies]

    def pins(self, channel: str) -> list[Json]:
        """Pinned messages, oldest pin first."""
        place = self._channel(channel)
        return [place.messages[ts] for ts in place.pins]

    def ephemeral(self, channel: str) -> list[Json]:
        """Messages that only one person saw (`ephemeral_to`)."""
        return list(self._channel(channel).ephemeral.values())

    # telling the app

    def _transport(self) -> Transport:
        if self.socket_mode:
            return self._over_sockets
        self._http.urls = {
            "event": self.events_url,
            "interactive": self.interactive_url or self.events_url,
            "command": self.command_url or self.events_url,
        }
        return self._http

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
        changes = self.workspace.take_changes()
        if self.holding:
            self._held += changes
            return
        await self._deliver([send for change in changes for send in self._sends(change)])

    async def let_go(self) -> int:
        """Bring what was held up on its way, later than what came after it; how many it was.

        The platform promises no order: https://docs.slack.dev/apis/events-api/ (from memory).
        """
        held, self._held, self.holding = self._held, [], False
        await self._deliver([send for change in held for send in self._sends(change)])
        return len(held)

    async def _tell_event(self, event: Json) -> None:
        if self._listening() and needed_scope(event) in self.api.scopes:
            await self._deliver([self.sender.event(envelope(self.workspace, event))])

    def _listening(self) -> bool:
        return self.socket_mode or self.events_url is not None

    def _sends(self, change: Change) -> list[Coroutine[Any, Any, Delivery]]:
        if self.bot_user not in change.channel.members or not self._listening():
            return []
        events = inner_events(self.workspace, change)
        wanted = [event for event in events if needed_scope(event) in self.api.scopes]
        return [self.sender.event(envelope(self.workspace, event)) for event in wanted]

    async def _deliver(self, sends: list[Coroutine[Any, Any, Delivery]]) -> None:
        tasks = [self._spawn(send) for send in sends]
        if tasks and not self.background:
            await asyncio.gather(*tasks)

    def _spawn(self, send: Coroutine[Any, Any, Delivery]) -> asyncio.Task[Delivery]:
        task = asyncio.ensure_future(send)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)
        return task

    async def _answered(self, request: web.Request) -> web.Response:
        response = await answer(self.responses, request)
        self._after_call()
        return response

    def _has_commands(self) -> bool:
        return "commands" in self.api.scopes

    def _response_url(self, channel: Channel, user: str, ts: str | None) -> str:
        return f"{self.base_url}/response/{self.responses.give(channel, user, ts)}"

    def _socket_url(self) -> str:
        websocket = self.base_url.replace("http://", "ws://", 1)
        ticket = self.sockets.ticket()
        return f"{websocket}/link/?ticket={ticket}&app_id={self.workspace.app_id}"
