"""The real parts of a journey: stand-in chat, bot over HTTP, webhook, a clock of its own.

Nobody acts here by themselves: all that people and units do is in the script.
"""

import functools
import html
import json
import re
import time
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import aiohttp
from pydantic import SecretStr
from standardwebhooks.webhooks import Webhook

from bot.app import Bot, Parts
from bot.live import Live
from bot.model.people import page_user
from bot.model.runbook import Runbook
from bot.plan.live import go_live
from bot.plan.rows import SiteRow, UnitRow
from bot.practice import scene
from bot.practice.chatserver import ChatServer, Posted
from bot.practice.clock import WaveClock
from bot.practice.house import QUICK
from bot.settings import MailSettings, PageSettings, Settings
from bot.speak.render import resolved
from tests.journeys.page import BASE, SECRET, MailHouse, Page
from tests.journeys.script import Script, SiteLine
from tests.journeys.waking import Waking

STRANGER = "U0990"
MINUTE = 60_000


@dataclass
class Seen:
    """One message as it stands in the chat. ``place``: ``site:ID``, ``team``, ``channel``,
    ``to:USER`` (a direct message) or ``alone:USER``."""

    at: int
    place: str
    text: str
    buttons: list[tuple[str, str]]  # label and action
    channel: str
    stamp: str
    optional: bool = False
    claimed: bool = False


@dataclass
class Command:
    """An answer to a chat command."""

    at: int
    user: str
    text: str
    claimed: bool = False


@dataclass
class House:
    """Chat, bot and registry of one script. All instants are wave time in ms."""

    script: Script
    store_url: str
    seen: list[Seen] = field(default_factory=list)
    commands: list[Command] = field(default_factory=list)
    running: bool = False
    _threads: dict[tuple[str, str], str] = field(default_factory=dict)
    _events: dict[str, dict[str, Any]] = field(default_factory=dict)
    _untold: list[dict[str, Any]] = field(default_factory=list)
    _ahead: int | None = None
    pages: dict[str, Page] = field(default_factory=dict)  # by site
    post: MailHouse | None = None
    waking: Waking | None = None
    _on_pages: set[str] = field(default_factory=set)

    def __post_init__(self) -> None:
        self.rows = [_row(line, self.script) for line in self.script.sites]
        self.tz = ZoneInfo(self.rows[0].tz)
        first = min(row.start for row in self.rows if row.start is not None)
        begins = first - 30 * MINUTE
        if self.script.begin:
            begins = _begins(self.script, self.tz)
        self.clock = WaveClock(begins)
        self.server = ChatServer(clock=self.clock.now, signing_secret=scene.SIGNING_SECRET)

    # --- times -----------------------------------------------------------------------------

    def next_time(self, clock: str, after: int) -> int:
        """The first instant from the minute of ``after`` on at which the clock shows ``clock``.

        Raises ``ValueError`` when that is more than 18 hours ahead: such a line needs its day.
        """
        exact = clock.count(":") > 1
        floor = after if exact else after - after % MINUTE
        wanted = datetime.strptime(clock, "%H:%M:%S" if exact else "%H:%M").time()  # noqa: DTZ007
        day = datetime.fromtimestamp(after / 1000, self.tz).date()
        found = []
        for local_day in (day, day + timedelta(days=1)):
            for fold in (0, 1):
                local = datetime.combine(local_day, wanted, self.tz).replace(fold=fold)
                at = _ms(local)
                shows = datetime.fromtimestamp(at / 1000, self.tz).time()
                if shows == wanted and at >= floor:
                    found.append(at)
        if not found or min(found) > after + 18 * 60 * MINUTE:
            raise ValueError(f"the clock shows {clock} much later: write the day (on 2026-...)")
        return min(found)

    def midnight(self, day: str) -> int:
        """When that day begins at the first site."""
        return _ms(datetime.fromisoformat(day).replace(tzinfo=self.tz))

    def shown(self, at: int) -> str:
        return datetime.fromtimestamp(at / 1000, self.tz).strftime("%H:%M:%S")

    # --- start and stop --------------------------------------------------------------------

    async def start(self) -> None:
        if any(line.by_page for line in self.script.sites):
            self.post = MailHouse()
            self._mail_port = await self.post.start()
        if self.script.ways:
            self.waking = Waking(self.script.ways, self.script.turns, self._told)
            await self.waking.start()
        await self.server.start()
        self.channels = scene.furnish(self.server, self.rows)
        self.server.add_user(STRANGER, "Perrin Ashlock")
        self.server.on_post.append(self._posted)
        self._session = aiohttp.ClientSession(trust_env=False)
        await self.start_bot()
        await go_live(self.bot.desk, self.rows, channels=self.channels, now=self.clock.now())
        await self.instant()

    async def start_bot(self) -> None:
        """As ``serve`` does: notice the gap before any deadline is looked at."""
        settings: Settings = scene.settings(
            f"{self.server.base_url}/api/",
            self.server.api.bot_token,
            self.channels,
            self.store_url,
        )
        chat = settings.chat.model_copy(update={"private": self.script.private})
        settings = settings.model_copy(update={"chat": chat})
        if self.post is not None:
            settings = _with_pages(settings, self._mail_port)
        if self.waking is not None:
            settings = self.waking.settings(settings)
        parts = Parts(
            now=self.clock.now,
            sender=QUICK,
            may_open=None if self.waking else lambda roster, at: True,
            patience=lambda: self.clock.now() / 1000,
        )
        self.bot = Bot(settings, _book(), parts)
        await self.bot.start()
        self.server.events_url = f"http://127.0.0.1:{self.bot.port}/chat/events"
        self.running = True
        live = Live(settings, self.bot, sleep=_at_once)
        await live.catch_up()
        await live.caught_up()
        waiting, self._untold = self._untold, []
        for event in waiting:
            await self._tell(event)

    async def stop_bot(self) -> None:
        await self.bot.store.alive_mark(self.clock.now())
        await self.bot.stop()
        self.running = False

    async def stop(self) -> None:
        if self.running:
            await self.stop_bot()
        await self._session.close()
        await self.server.stop()
        if self.waking is not None:
            await self.waking.stop()
        if self.post is not None:
            await self.post.stop()

    # --- time goes on ----------------------------------------------------------------------

    async def instant(self) -> None:
        """All that happens at this instant."""
        now = self.clock.now()
        while True:
            ahead = None
            if self.running:
                await self.bot.store.clock_set(now)
                ahead = await self.bot.settle(now)
            await self.server.settle()
            if self.waking is not None:
                self.waking.look()
            if self.post is not None and await self._pages_looked_at():
                continue
            if not await self.server.deliver_due(now):
                break
        times = [t for t in (ahead, self.server.next_due()) if t is not None]
        self._ahead = min(times, default=None)

    async def step(self, limit: int) -> bool:
        """Go to the next instant before ``limit``; false when there is none."""
        if self._ahead is None or self._ahead >= limit:
            return False
        self.clock.move(max(self._ahead, self.clock.now()))
        await self.instant()
        return True

    async def until(self, at: int) -> None:
        """Go on to the instant ``at``, through all that happens before."""
        while await self.step(at):
            pass
        if at > self.clock.now():
            self.clock.move(at)
            await self.instant()

    def _told(self, place: str, text: str) -> None:
        """The team was reached by phone or mail."""
        self.seen.append(Seen(self.clock.now(), place, text, [], "", ""))

    # --- pages and mail ----------------------------------------------------------------------

    async def _pages_looked_at(self) -> bool:
        """Open pages look again; what is new there or came by mail is seen. Whether any was."""
        news = False
        for row in self.rows:
            news = await self._page_read(row) or news
        assert self.post is not None
        while self.post.mails:
            mail = self.post.mails.pop(0)
            site = next(r.site for r in self.rows if r.contact.mail == mail.to)
            self.pages.setdefault(site, Page(self._session, "", 0)).path = mail.link[len(BASE) :]
            text = " ".join(mail.text.split())
            self.seen.append(Seen(self.clock.now(), f"mail:{site}", text, [], "", ""))
            news = True
        for page in self.pages.values():
            page.port = self.bot.port
            if page.open and page.signal and self.running:
                before = page.text
                await page.look()
                news = news or before != page.text
        return news

    async def _page_read(self, row: SiteRow) -> bool:
        if not self.running:
            return False
        found = await self.bot.store.page_read(f"w:{row.wave}", row.site)
        fresh = [m for m in found if f"{row.site}/{m.id}" not in self._on_pages]
        for message in fresh:
            self._on_pages.add(f"{row.site}/{message.id}")
            if message.template.startswith("page_"):
                continue
            texts = self.bot.catalogue.best(message.lang)
            args = await resolved(message, self.bot.catalogue, self.bot.store.person_get)
            said = texts.say(message.template, args, message.tz, now=message.made_at)
            buttons = [(texts.say(b.label, args, message.tz), b.action) for b in message.buttons]
            text = self._as_read(said)
            self.seen.append(
                Seen(self.clock.now(), f"site:{row.site}", text, buttons, "", message.id)
            )
        return bool(fresh)

    # --- what stands in the chat -----------------------------------------------------------

    def _posted(self, posted: Posted) -> None:
        if posted.kind not in ("posted", "ephemeral"):
            return
        message = posted.message
        mark = message.get("metadata", {}).get("event_payload", {})
        place, optional = self._place(posted, mark)
        self.seen.append(
            Seen(
                at=posted.at,
                place=place,
                text=self.text_of(message),
                buttons=_buttons(message),
                channel=posted.channel,
                stamp=str(message["ts"]),
                optional=optional or mark.get("template") in ("root", "pin"),
            )
        )

    def _place(self, posted: Posted, mark: dict[str, Any]) -> tuple[str, bool]:
        message = posted.message
        if posted.kind == "ephemeral":
            return f"alone:{message['ephemeral_to']}", False
        user = self.server.workspace.channels[posted.channel].with_user
        if (self.script.private or self.post) and (private := self._private(posted, mark)):
            return private, private.startswith("mirror:")
        if user:
            return f"to:{user}", user in {p.user for p in scene.PEOPLE}
        if posted.channel == scene.TEAM_CHANNEL:
            return "team", False
        root = str(message.get("thread_ts") or "")
        if not root and str(mark.get("thread", "")).startswith("site:"):
            root = str(message["ts"])
            self._threads[posted.channel, root] = str(mark["thread"])
        return self._threads.get((posted.channel, root), "channel"), False

    def _private(self, posted: Posted, mark: dict[str, Any]) -> str:
        """A site's own conversation, or the team's copy of it; empty: neither."""
        root = str(posted.message.get("thread_ts") or "")
        kind, _, rest = str(mark.get("thread", "")).partition(":")
        site = rest.partition(":")[0]
        alone = any(line.by_page and line.site == site for line in self.script.sites)
        if not root and (kind in ("private", "mirror") or (kind == "site" and alone)):
            root = str(posted.message["ts"])
            name = "site" if kind == "private" else "mirror"
            self._threads[posted.channel, root] = f"{name}:{site}"
        return self._threads.get((posted.channel, root), "")

    def text_of(self, message: dict[str, Any]) -> str:
        """What a person reads: no marks of bold type, names for mentions, one line."""
        blocks = message.get("blocks") or []
        parts = [b["text"]["text"] for b in blocks if b["type"] == "section"]
        text = "\n".join(parts) or str(message.get("text", ""))
        return self._as_read(text)

    def _as_read(self, text: str) -> str:
        for user in self.server.workspace.users.values():
            text = text.replace(f"<@{user.id}>", f"@{user.name}")
        return html.unescape(" ".join(text.replace("*", "").split()))

    def name_of(self, user: str) -> str:
        return self.server.workspace.users[user].name

    def note_command(self, user: str, body: str) -> None:
        """An answer to a command: plain text, or JSON with one."""
        text = json.loads(body).get("text", "") if body.startswith("{") else body
        self.commands.append(Command(self.clock.now(), user, self._as_read(text)))

    def thread_of(self, site: str, kind: str = "site") -> tuple[str, str]:
        """Channel and stamp of the site's thread, or of its ``mirror``. Raises ``LookupError``."""
        for place, name in self._threads.items():
            if name == f"{kind}:{site}":
                return place
        raise LookupError(f"{site} has no thread yet")

    def newest_of(self, user: str, words: str) -> tuple[str, str]:
        """Channel and stamp of the newest message of a person with these words in it."""
        found = [
            (str(message["ts"]), channel.id)
            for channel in self.server.workspace.channels.values()
            for message in channel.messages.values()
            if message.get("user") == user and words in html.unescape(str(message["text"]))
        ]
        if not found:
            raise LookupError(f"they wrote no message with {words!r}")
        stamp, place = max(found)
        return place, stamp

    async def bring_again(self) -> None:
        """The platform sends the last message of a person once more, as when it got no answer."""
        for delivery in reversed(self.server.deliveries):
            event = delivery.payload.get("event", {})
            if event.get("type") == "message" and event.get("user") != self.server.bot_user:
                await self.server.sender.event(delivery.payload, 1, "http_timeout")
                return
        raise LookupError("nobody has written anything yet")

    # --- registrations ---------------------------------------------------------------------

    async def register(self, serial: str, kind: str = "registered") -> None:
        """A new event of the registry, signed by the published library of the scheme."""
        at = self.clock.now()
        event = {
            "specversion": "1.0",
            "id": f"{serial}-{kind}-{at}",
            "source": "https://registry.example.org/units",
            "type": f"org.example.unit.{kind}",
            "time": datetime.fromtimestamp(at / 1000, UTC).isoformat(),
            "data": {"serial": serial},
        }
        self._events[serial] = event
        await self._tell(event)

    async def register_again(self, serial: str) -> None:
        await self._tell(self._events[serial])

    async def report(self, serial: str, progress: str, message: str) -> None:
        """A unit reports its own progress, in the XML of RFC 8572."""
        inner = (
            f"<progress-type>{progress}</progress-type><message>{html.escape(message)}</message>"
        )
        space = "urn:ietf:params:xml:ns:yang:ietf-sztp-bootstrap-server"
        url = (
            f"http://127.0.0.1:{self.bot.port}/restconf/operations/"
            "ietf-sztp-bootstrap-server:report-progress"
        )
        async with self._session.post(
            url,
            data=f'<input xmlns="{space}">{inner}</input>',
            headers={
                "Content-Type": "application/yang-data+xml",
                "Authorization": aiohttp.encode_basic_auth(serial, scene.UNITS_PASSWORD),
            },
        ) as answer:
            if answer.status != 204:
                raise AssertionError(f"the report got {answer.status}: {await answer.text()}")

    async def _tell(self, event: dict[str, Any]) -> None:
        """What is not taken while the bot is away is sent when it is there again."""
        if not self.running:
            self._untold.append(event)
            return
        body, stamp = json.dumps(event), datetime.fromtimestamp(time.time(), UTC)
        signature = Webhook(scene.WEBHOOK_SECRET).sign(event["id"], stamp, body)
        headers = {
            "Content-Type": "application/cloudevents+json",
            "webhook-id": event["id"],
            "webhook-timestamp": str(int(stamp.timestamp())),
            "webhook-signature": signature,
        }
        url = f"http://127.0.0.1:{self.bot.port}/registrations/{scene.SOURCE}"
        async with self._session.post(url, data=body, headers=headers) as answer:
            if answer.status != 202:
                raise AssertionError(f"the webhook answered {answer.status}: {await answer.text()}")


@functools.cache
def _book() -> Runbook:
    return scene.runbook()


@functools.cache
def _list() -> list[SiteRow]:
    return scene.sites(None, 0)


def _row(line: SiteLine, script: Script) -> SiteRow:
    """The demo list's row of that site, with what the script says otherwise."""
    rows = {row.site: row for row in _list()}
    if line.site not in rows:
        raise LookupError(f"{line.site!r} is no site of the demo list")
    row = rows[line.site]
    tz = ZoneInfo(line.zone or row.tz)
    units = [_unit(row.units[0], line, serial) for serial in line.units] or [
        _unit(unit, line, unit.label) for unit in row.units
    ]
    start = _on_day(line.start, script, tz)
    end = _on_day(line.end, script, tz) if line.end else None
    if end is not None and end < start:
        end += 24 * 60 * MINUTE
    contact = rows[line.contact_of or line.site].contact
    if line.by_page:
        address = f"{line.site}@example.org"
        contact = contact.model_copy(update={"user": page_user(line.site), "mail": address})
    return row.model_copy(
        update={
            "tz": str(tz),
            "ready": [item for item in row.ready if item not in line.missing],
            "units": units,
            "start": start,
            "end": end,
            "contact": contact.model_copy(update={"lang": line.language or contact.lang}),
            "deputy": row.deputy if line.deputy else None,
            "cables": list(line.cables),
            "checks": list(line.checks),
        }
    )


def _unit(unit: UnitRow, line: SiteLine, label: str) -> UnitRow:
    version = None if line.version == "unknown" else line.version or unit.version
    serial = re.sub(r"[\s-]", "", label).upper()
    return UnitRow(serial=serial, label=label, model=line.model or unit.model, version=version)


def _with_pages(settings: Settings, mail_port: int) -> Settings:
    """Pages, and a mail server on this machine."""
    mail = MailSettings(host="127.0.0.1", port=mail_port, sender="desk@example.org", tls="none")
    page = PageSettings(secret=SecretStr(SECRET), base_url=BASE)
    return settings.model_copy(update={"mail": mail, "page": page})


def _begins(script: Script, tz: ZoneInfo) -> int:
    text = script.begin if " " in script.begin else f"{script.day} {script.begin}"
    return _ms(datetime.strptime(text, "%Y-%m-%d %H:%M").replace(tzinfo=tz))


def _on_day(clock: str, script: Script, tz: ZoneInfo) -> int:
    return _ms(datetime.combine(script.day, datetime.strptime(clock, "%H:%M").time(), tz))  # noqa: DTZ007


def _ms(local: datetime) -> int:
    return int(local.timestamp() * 1000)


def _buttons(message: dict[str, Any]) -> list[tuple[str, str]]:
    return [
        (str(element["text"]["text"]), str(element["action_id"]))
        for block in message.get("blocks") or []
        if block["type"] == "actions"
        for element in block["elements"]
    ]


async def _at_once(_seconds: float) -> None:
    """Reading back need not wait for the pace of a platform that is only played."""
