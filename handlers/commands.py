"""The chat command (``/wave`` by default): status, hold and resume, one site, one unit."""

from typing import Any

from bot.desk import Desk
from bot.model.fact import Actor, Ordered
from bot.model.handover import handover
from bot.model.subject import Subject
from bot.model.visit.state import Visit
from bot.report.handover import lines as handed_over
from bot.report.words import board_lines, visit_lines
from bot.speak.catalogue import Catalogue
from bot.speak.render import escaped, in_chat
from handlers.clock import Now
from handlers.readiness import Readiness, named
from handlers.routing import by_serial, wave_of_channel
from handlers.swaps import VERBS, SiteOrders
from handlers.words import plain

#: What becomes of an order, as far as there is a text for it.
_ANSWERS = ("ok", "nothing", "not_yours", "untested")


class Commands:
    """Answers one command. Roles are checked by the model; here only who may read what."""

    def __init__(self, desk: Desk, catalogue: Catalogue, now: Now, command: str) -> None:
        self._desk, self._catalogue, self._now, self._command = desk, catalogue, now, command
        self._readiness = Readiness(desk, catalogue, now, command)

    async def answer(self, body: dict[str, Any]) -> str:
        """The text shown to the one who typed the command."""
        actor = self._desk.surroundings.roster.actor(str(body.get("user_id", "")))
        words = plain(str(body.get("text", ""))).split()
        order = words[0].lower() if words else "status"
        if not (actor.admin or actor.oncall):
            return self._say("command_not_yours")
        if order == "help":
            return self._say("command_help")
        wave = await self._wave(str(body.get("channel_id", "")), words)
        if order == "unit":
            return await self._unit(words[1:])
        if wave is None:
            return self._say("command_no_wave")
        match order:
            case "status":
                return await self._status(wave)
            case "hold" | "resume":
                return await self._order(wave, actor, order, body)
            case "handover":
                return await self._handover(wave)
            case "site":
                return await self._site(wave, words[1:])
            case "rebook":
                return await self._readiness.rebook(wave, actor, " ".join(words[1:]), body)
            case "ready":
                return await self._readiness.ready(wave, actor, " ".join(words[1:]), body)
        if order in VERBS:
            orders = SiteOrders(self._desk, self._now, self._catalogue.best("en"), self._command)
            return await orders.answer(wave, actor, " ".join(words), body)
        return self._say("command_unknown", word=order)

    async def _wave(self, channel: str, words: list[str]) -> Subject | None:
        """The wave of this channel; else one that is named; else the only one."""
        waves = [Subject(h, "wave") for h in await self._desk.store.homes() if h.startswith("w:")]
        named = [w for w in waves if w.wave in words[1:]]
        if named:
            return named[0]
        here = await wave_of_channel(self._desk, channel)
        if here is not None:
            return here
        return waves[0] if len(waves) == 1 else None

    async def _status(self, wave: Subject) -> str:
        now = self._now()
        summary = await self._desk.surroundings.board(self._desk.store, wave.home, now)
        state = await self._desk.state(wave)
        return escaped("\n".join(board_lines(state, summary, self._catalogue.best("en"))))

    async def _handover(self, wave: Subject) -> str:
        around = self._desk.surroundings
        visits = await around.visits(self._desk.store, wave.home)
        found = handover(visits, around.book, self._now())
        return escaped("\n".join(handed_over(found, self._catalogue.best("en"), around.roster)))

    async def _order(self, wave: Subject, actor: Actor, order: str, body: dict[str, Any]) -> str:
        outcome = await self._desk.receive(
            Ordered(
                id=f"command:{body.get('trigger_id', '')}",
                subject=wave,
                received_at=self._now(),
                actor=actor,
                order=order,
            )
        )
        if outcome.answer not in _ANSWERS:
            return self._say("order_kept")
        return self._say(f"command_{order}_{outcome.answer}", wave=wave.wave)

    async def _site(self, wave: Subject, words: list[str]) -> str:
        if not words:
            return self._say("command_which_site")
        visits = await self._desk.surroundings.visits(self._desk.store, wave.home)
        visit = named(visits, " ".join(words))
        if visit is None:
            return self._say("command_no_site", word=" ".join(words))
        return self._visit(visit)

    async def _unit(self, words: list[str]) -> str:
        if not words:
            return self._say("command_which_unit")
        serial = " ".join(words)
        subject = await by_serial(self._desk, serial)
        visit = await self._desk.state(subject) if subject else None
        if not isinstance(visit, Visit):
            return self._say("command_no_unit", word=serial)
        return self._visit(visit)

    def _visit(self, visit: Visit) -> str:
        around = self._desk.surroundings
        texts = self._catalogue.best("en")
        lines = visit_lines(visit, self._now(), texts, around.book, around.roster)
        return escaped("\n".join(lines))

    def _say(self, key: str, **args: str) -> str:
        given = {"command": self._command, **args}
        return self._catalogue.best("en").say(key, given, show=in_chat)
