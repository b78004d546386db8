"""The one place that knows every part: puts them together, starts them, ends them in order."""

import asyncio
import gc
import logging
import math
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import msgspec
from aiohttp import web

from bot import waking
from bot.access import Access
from bot.code_key import code_key
from bot.desk import Desk
from bot.desk.surroundings import Surroundings
from bot.fit import people_away
from bot.model.message import ESCALATION
from bot.model.roster import Roster
from bot.model.runbook import Runbook
from bot.places import ChannelPlaces
from bot.report.handover import lines as handed_over
from bot.send.chat import PLATFORM, ChatOut, proxy_for
from bot.send.errors import SendError
from bot.send.hints import say, who_am_i
from bot.send.leases import ChannelLeases
from bot.send.mail import MailOut, MailSettings
from bot.send.pacing import Pacing, Workspace
from bot.send.pages import PageLinks
from bot.send.ports import Trouble
from bot.send.sender import Sender, SenderSettings, wall_clock
from bot.settings import Settings
from bot.speak.catalogue import Catalogue
from bot.speak.lexicon import languages, lexicon
from bot.speak.render import in_chat
from bot.store import probe as probes
from bot.store.embedded import Embedded
from bot.store.errors import StoreError
from bot.store.link import Options
from bot.store.store import Store
from handlers.chat import ChatIn, Identity
from handlers.clock import Now, Sweep
from handlers.confirm import Confirm
from handlers.http import application, no_http
from handlers.intake.syslog import Syslog
from handlers.page.routes import PageIn
from handlers.readback import Reader, Sleep
from handlers.registration import RegistrationIn
from handlers.sockets import BadAppToken, ChatSockets

__all__ = ["BadAppToken", "Bot", "Parts", "utc_now"]

_log = logging.getLogger("musterline")
_CHAT_CHECK_SECONDS = 10


def utc_now() -> int:
    """Wave time of a live bot: UTC in milliseconds."""
    return time.time_ns() // 1_000_000


def _calm_collector() -> None:
    """What is there at the start stays: the collector need not look through it again and again.

    By default it begins with every 700 new objects, which is every few facts.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(10_000, 20, 20)


@dataclass
class Parts:
    """What may be replaced when a bot is put together; everything else follows from settings."""

    now: Now = utc_now
    identity: Identity | None = None  # None: asked of the chat platform
    sender: SenderSettings = field(default_factory=SenderSettings)
    pacing: Pacing | None = None
    leases: Callable[[Store], ChannelLeases] | None = None
    probe: probes.Probe = probes.nothing
    may_open: Callable[[Roster, int], bool] | None = None
    process: Callable[[], int] = wall_clock
    patience: Callable[[], float] = time.monotonic  # by which the page counts who asks too often


class Bot:
    """All parts of one running bot."""

    def __init__(self, settings: Settings, book: Runbook, parts: Parts | None = None) -> None:
        self.settings, self.book = settings, book
        self.parts = parts or Parts()
        self.now = self.parts.now
        self.embedded: Embedded | None = None
        self.catalogue = Catalogue.load()
        page = settings.page
        secret = page.secret.get_secret_value().encode()
        self.access = Access(secret) if page.on else None
        self.links = PageLinks(self.access, page.base_url) if self.access else None
        self.hooks = waking.hooks(settings, self.parts.sender.lease / 2000)
        self._runner: web.AppRunner | None = None
        self.port = 0
        self.sockets: ChatSockets | None = None
        self.syslog: Syslog | None = None
        self.draining = False
        self._chat_fine = False
        self._chat_asked = -math.inf

    # --- start and stop --------------------------------------------------------------------

    async def start(self, *, listen: bool = True) -> None:
        """Connect everything; raises ``StoreError`` or ``SettingsError`` with one sentence."""
        await self._start_store()
        self.parts.probe("start.store")
        self.desk = Desk(self.store, self._surroundings())
        await self._start_chat()
        self.parts.probe("start.chat")
        if self.embedded is not None:  # alone on this store: leases of a bot before us are void
            for home in await self.store.homes():
                await self.store.free_leases(home)
        self.sweep = Sweep(self.desk)
        await waking.look_at_roster(self.desk, self.now())
        if listen:
            await self._start_http()
            await self._start_sockets()
            _calm_collector()
        self.parts.probe("start.done")

    async def _start_store(self) -> None:
        chosen = self.settings.store
        url = chosen.url
        if not url:
            self.embedded = Embedded(chosen.data)
            url = await self.embedded.start()
            for note in self.embedded.notes:
                _log.warning("the store: %s", note)
        self.store = Store(
            url,
            cluster=chosen.cluster,
            options=Options(min_replicas=chosen.min_replicas),
            probe=self.parts.probe,
        )
        await self.store.connect()

    def _surroundings(self) -> Surroundings:
        words = {lang: lexicon(lang) for lang in languages()}
        return Surroundings(
            book=self.book,
            lexicons=words,
            policy=self.settings.model_policy(),
            roster=self.settings.roster(),
            may_open=self.parts.may_open or self._may_open,
            private=self.settings.chat.private,
            pages=self.settings.page.on,
            code_key=code_key(self.settings),
            worded=lambda found, roster: handed_over(found, self.catalogue.best("en"), roster),
            chat_alone=self.settings.person_on_chat_alone_may_open,
        )

    def _may_open(self, roster: Roster, at: int) -> bool:
        """Somebody's ways can be tested (the rota says whether they were), or it is allowed."""
        return self.settings.person_on_chat_alone_may_open or (roster.tested and roster.staffed(at))

    async def _start_chat(self) -> None:
        chat = self.settings.chat
        base = chat.base_url or PLATFORM
        token = chat.bot_token.get_secret_value()
        self.chat = ChatOut(
            token,
            base_url=base,
            proxy=proxy_for(base),
            deadline=self.parts.sender.lease / 2000,
        )
        identity = self.parts.identity or await self._identity()
        mail = self._mail()
        self.chat_in = ChatIn(
            desk=self.desk,
            chat=self.chat,
            catalogue=self.catalogue,
            now=self.now,
            identity=identity,
            token=token,
            signing_secret=chat.signing_secret.get_secret_value(),
            command=chat.command,
            team_channel=chat.team_channel,
            mail=mail,
        )
        self.places = ChannelPlaces(self.store, chat.team_channel, identity.url)
        self.sender = Sender(
            store=self.store,
            index=self.store,
            desk=self.desk,
            chat=self.chat,
            catalogue=self.catalogue,
            places=self.places,
            people=self._person,
            mail=mail,
            links=self.links,
            hooks=self.hooks,
            pacing=self.parts.pacing or Pacing(workspace=Workspace(self.store)),
            leases=self.parts.leases(self.store) if self.parts.leases else None,
            tell=self._trouble,
            probe=self.parts.probe,
            settings=self.parts.sender,
            process=self.parts.process,
        )

    async def _trouble(self, trouble: Trouble) -> None:
        """What a person has to know of sending goes to the log and, where chat works, the team.

        Where it is the team's own channel or a call that does not get through, people are told
        directly: nobody would look into that channel for it.
        """
        _log.error("sending: %s %s: %s", trouble.kind, trouble.place, trouble.why)
        args = {"place": trouble.place, "why": trouble.why}
        team = self.settings.chat.team_channel
        if trouble.kind == "channel" and trouble.place != team:
            await self.tell_team("chat_trouble", **args)
        elif trouble.kind in ("channel", "everywhere"):
            matter = f"{trouble.kind}:{trouble.place}:{trouble.now}"
            await self.chat_in.alarm.people(matter, "chat_trouble", {**args, "place": team})
        elif trouble.kind == "message" and trouble.place == "webhook":  # the next way is tried
            await self.tell_team("way_trouble", why=trouble.why)
        elif trouble.kind in ("message", "bug") and trouble.urgency <= ESCALATION:
            matter = f"dead:{trouble.message}"
            await self.chat_in.alarm.people(matter, "call_undelivered", args)

    def _mail(self) -> MailOut | None:
        mail = self.settings.mail
        if not mail.host:
            return None
        return MailOut(
            MailSettings(
                host=mail.host,
                sender=mail.sender,
                port=mail.port,
                security=mail.tls,
                user=mail.user,
                password=mail.password.get_secret_value(),
            )
        )

    async def _person(self, key: str) -> Mapping[str, str] | None:
        return await self.store.person_get(key)

    async def _identity(self) -> Identity:
        """Who we are: from the platform, else as it was the last time."""
        try:
            found = await who_am_i(self.chat)
            await self.store.note_put("identity", msgspec.json.encode(found))
        except SendError:
            kept = await self.store.note_get("identity")
            if not kept:
                raise
            found = msgspec.json.decode(kept, type=dict[str, str])
            _log.warning("the chat platform does not answer; going on as %s", found["bot_user"])
        return Identity(found["team"], found["bot_user"], found["bot_id"], found["url"])

    async def _start_http(self) -> None:
        socket_mode = self.settings.chat.mode == "socket"
        self.registration = RegistrationIn(self.desk, self.settings.registration, self.now)
        app = application(
            chat=None if socket_mode else self.chat_in,
            registration=self.registration,
            check=self.check,
            body_limit=self.settings.registration.body_limit,
            probe=self.parts.probe,
            trust_proxy=self.settings.serve.trust_proxy,
            page=self._page(),
            more=self._confirm_routes(),
        )
        drain = self.settings.serve.drain_seconds
        # A body that is compressed is refused, not unpacked: what is signed is what is sent.
        self._runner = web.AppRunner(
            app, access_log=None, shutdown_timeout=drain, auto_decompress=False
        )
        logging.getLogger("aiohttp.server").addFilter(no_http)
        await self._runner.setup()
        serve = self.settings.serve
        site = web.TCPSite(self._runner, serve.host, serve.port)
        await site.start()
        self.port = self._runner.addresses[0][1]
        if self.settings.syslog.tcp_port or self.settings.syslog.udp_port:
            self.syslog = Syslog(self.settings.syslog, self.registration.intake)
            await self.syslog.start()

    def _page(self) -> PageIn | None:
        if self.access is None:
            return None
        hearing, page = self.chat_in.hearing, self.settings.page
        return PageIn(
            self.desk,
            self.access,
            self.catalogue,
            hearing.safety,
            self.chat_in.alarm,
            self.now,
            after=page.after,
            secure=page.base_url.startswith("https:"),
            clock=self.parts.patience,
        )

    def _confirm_routes(self) -> list[web.RouteDef]:
        """The page behind the links in mails and webhooks to the team."""
        if self.hooks.links is None:
            return []
        return Confirm(self.desk, self.catalogue, self.hooks.links, self.now).routes()

    async def _start_sockets(self) -> None:
        chat = self.settings.chat
        if chat.mode != "socket":
            return
        base = chat.base_url or PLATFORM
        self.sockets = ChatSockets(
            self.chat_in.app,
            chat.app_token.get_secret_value(),
            base_url=base,
            proxy=proxy_for(base),
        )
        await self.sockets.start()

    async def check(self) -> dict[str, bool]:
        """Which parts can do their work now. The chat is asked at most every ten seconds."""
        parts = {
            "store": await self._store_answers(),
            "chat": await self._chat_answers(),
            "taking": not self.draining,
        }
        if self.sockets is not None:
            parts["socket"] = self.sockets.connected
        return parts

    async def _store_answers(self) -> bool:
        try:
            await asyncio.wait_for(self.store.homes(), 1)
        except (StoreError, TimeoutError):
            return False
        return True

    async def _chat_answers(self) -> bool:
        if time.monotonic() - self._chat_asked > _CHAT_CHECK_SECONDS:
            self._chat_asked = time.monotonic()
            try:  # whoever asks for our health does not wait for the chat
                self._chat_fine = await asyncio.wait_for(self.chat_answers(), 1)
            except TimeoutError:
                self._chat_fine = False
        return self._chat_fine

    async def chat_answers(self) -> bool:
        """Whether the chat platform answers us at all, now."""
        try:
            await who_am_i(self.chat)
        except SendError as error:
            _log.warning("the chat platform does not answer: %s", error)
            return False
        return True

    def reader(self, sleep: Sleep = asyncio.sleep) -> Reader:
        """What reads threads back after a gap."""
        chat_in = self.chat_in
        return Reader(
            self.desk,
            self.chat,
            chat_in.hearing,
            chat_in.orders,
            chat_in.reactions,
            self.now,
            chat_in.identity.bot_user,
            sleep,
        )

    async def look_at_people(self) -> list[str]:
        """People of the settings who cannot be reached in chat: not called there, and told of."""
        try:
            away = await people_away(self.chat, self.settings)
        except SendError as error:
            _log.warning("the people of the settings cannot be looked up: %s", error)
            return []
        for user, sentence in away.items():
            _log.error("%s", sentence)
            await self.chat_in.staff.changed({"id": user, "deleted": True})
        return list(away.values())

    async def tell_team(self, key: str, **args: str) -> bool:
        """One line in the team's channel; in the log in any case. Whether it got through."""
        text = self.catalogue.best("en").say(key, args, show=in_chat)
        _log.warning("to the team: %s", text)
        try:
            await say(self.chat, self.settings.chat.team_channel, text)
        except SendError:
            _log.exception("the team could not be told")
            return False
        return True

    def forget_checks(self) -> None:
        """Ask the chat again at the next check."""
        self._chat_asked = -math.inf

    async def stop_taking(self) -> None:
        """Take nothing new; what was accepted is decided and answered."""
        self.draining = True
        if self.sockets is not None:
            await self.sockets.stop(self.settings.serve.drain_seconds)
            self.sockets = None
        if self.syslog is not None:
            await self.syslog.stop()
            self.syslog = None
        if self._runner is not None:
            await self._runner.cleanup()
            self._runner = None

    async def stop(self) -> None:
        """Finish what was accepted, then close, the store last."""
        await self.stop_taking()
        if hasattr(self, "chat"):
            await self.chat.close()
        if self.hooks.out is not None:
            await self.hooks.out.close()
        if hasattr(self, "store"):
            await self.store.close()
        if self.embedded is not None:
            await self.embedded.stop()

    # --- rehearsals and tests: one instant at a time ---------------------------------------

    async def settle(self, now: int) -> int | None:
        """Do all there is to do at the instant ``now``; gives the next instant of ours.

        Nothing is left undecided or unsent that could go now, so the clock may step on.
        """
        while True:
            fired = await self.sweep.run(now)
            self.parts.probe("sweep.after")
            swept = await self.sender.run_once(now)
            if not fired and not swept.busy and not self.desk.busy:
                break
            if swept.busy and not swept.sent and not fired:
                await asyncio.sleep(0.005)  # a send is in doubt: process time must pass
        times = [t for t in (await self.sweep.next_at(), swept.next_at) if t is not None]
        return min(times, default=None)
