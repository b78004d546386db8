"""The simulated world around the bot: chat, people, units, registry, and their agenda."""

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any, Protocol

from bot.plan.rows import SiteRow
from bot.practice import contact, scene, team
from bot.practice.agenda import Agenda
from bot.practice.chatserver import ChatServer, Posted
from bot.practice.clock import WaveClock
from bot.practice.contact import Contact
from bot.practice.device import Device
from bot.practice.persona import Persona, cast
from bot.practice.registry import Registry
from bot.practice.team import Team


class PeoplesChat(contact.Chat, team.Chat, Protocol):
    """What contacts and the team do in the chat."""


class World:
    """Everything that is not the bot. ``server`` is the stand-in for the chat platform."""

    def __init__(
        self,
        rows: list[SiteRow],
        seed: int,
        clock: WaveClock,
        personas: dict[str, Persona] | None = None,
        *,
        registry: Registry | None = None,
        through: Callable[[ChatServer], PeoplesChat] = lambda server: server,
    ) -> None:
        """``through``: the chat as people use it, where that is more than the server itself."""
        self.rows, self.seed, self.clock = rows, seed, clock
        self.agenda = Agenda()
        self.server = ChatServer(clock=clock.now, signing_secret=scene.SIGNING_SECRET)
        self.chat = through(self.server)
        self.registry = registry or Registry("")
        self.personas = personas or cast([row.site for row in rows], seed)
        self.contacts: dict[str, Contact] = {}
        self.team = Team(
            seed=seed,
            chat=self.chat,
            agenda=self.agenda,
            now=clock.now,
            admin=scene.ADMIN,
            channel=scene.TEAM_CHANNEL,
            command="/wave",
            cause_of=self._cause_of,
            registers=self._registers_after_all,
        )
        self.causes: dict[str, str] = {}
        self.told: set[tuple[str, int]] = set()
        self.seen: list[Callable[[Posted], None]] = []
        self.log: list[str] = []  # one line for each message and registration, for a log
        self._known: set[str] = set()

    async def start(self) -> list[str]:
        """Start the stand-in and furnish it; gives the wave's channels."""
        await self.server.start()
        channels = scene.furnish(self.server, self.rows)
        for row in self.rows:
            persona = self.personas[row.site]
            self.contacts[row.site] = Contact(
                site=row.site,
                user=row.contact.user,
                persona=persona,
                devices=[Device(u.label or u.serial, self.seed, persona.flaw) for u in row.units],
                seed=self.seed,
                chat=self.chat,
                agenda=self.agenda,
                now=self.clock.now,
                powered=self._powered,
            )
        self.server.on_post.append(self._posted)
        return channels

    def connect(self, bot_url: str) -> None:
        """Where the bot listens from now on."""
        self.server.events_url = f"{bot_url}/chat/events"
        self.registry.url = bot_url

    async def stop(self) -> None:
        await self.registry.close()
        await self.server.stop()

    # --- what the world sees ---------------------------------------------------------------

    def _posted(self, posted: Posted) -> None:
        for hook in self.seen:
            hook(posted)
        if posted.kind != "posted":
            return
        self._note(posted)
        mark = posted.message.get("metadata", {}).get("event_payload", {})
        message_id = str(mark.get("id", ""))
        if not message_id or message_id in self._known:
            return  # a second copy of a message is the bot's to remove, not people's to answer
        self._known.add(message_id)
        thread = str(mark.get("thread", ""))
        if posted.channel == scene.TEAM_CHANNEL:
            self._note_cause(posted.message, mark)
            if posted.message.get("thread_ts"):
                self.team.sees_reply(posted.message)
            self.team.sees(posted.message)
        elif thread.startswith("site:"):
            contact = self.contacts.get(thread.removeprefix("site:"))
            if contact is not None:
                contact.sees(posted.message, posted.channel)

    def _note(self, posted: Posted) -> None:
        mark = posted.message.get("metadata", {}).get("event_payload", {})
        at = datetime.fromtimestamp(posted.at / 1000, UTC).strftime("%H:%M:%S")
        place = str(mark.get("thread", "")).split(":")
        where = place[1] if len(place) > 1 else ""
        self.log.append(f"{at} UTC  {where:<20} {mark.get('template', '')}")

    def _note_cause(self, message: dict[str, Any], mark: dict[str, Any]) -> None:
        """The cause of a call, as its card says it: found by the words of the card."""
        template = str(mark.get("template", "")).removeprefix("wave_")
        if template != "call":
            return
        subject = str(mark["id"]).rsplit(":", 2)[0]
        call = str(mark["thread"]).rsplit(":", 1)[1]
        self.causes[f"{subject}/{call}"] = cause_in(str(message.get("text", "")))

    def _cause_of(self, subject: str, call: str) -> str:
        return self.causes.get(f"{subject}/{call}", "")

    # --- units -----------------------------------------------------------------------------

    def _powered(self, device: Device) -> None:
        """Power came on or a cable was pressed home: the unit registers in its time."""
        at = device.registers_at()
        if at is None or (device.serial, at) in self.told:
            return
        self.told.add((device.serial, at))

        async def register() -> None:
            if device.registers_at() == at:
                await self.registry.registered(device.serial, self.clock.now())

        self.agenda.add(max(at, self.clock.now()), device.serial, register)

    def _registers_after_all(self, subject: str) -> None:
        """Someone put the unit right in the registry: it registers three minutes later."""
        site = subject.rpartition("v:")[2]
        contact = self.contacts.get(site)
        if contact is None:
            return
        for device in contact.devices:
            if device.flaw == "not_in_registry":

                async def register(serial: str = device.serial) -> None:
                    await self.registry.registered(serial, self.clock.now())

                self.agenda.add(self.clock.now() + 180_000, device.serial, register)


def cause_in(text: str) -> str:
    """Which cause a call's card names, by the catalogue's words for it."""
    from bot.speak.catalogue import standard

    texts = standard().best("en")
    names = {key: texts.say(key, {}) for key in texts.own if key.startswith("cause_")}
    found = [key for key, words in names.items() if f": {words}*" in text]
    return found[0].removeprefix("cause_") if found else ""
