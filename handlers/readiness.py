"""``/wave ready`` and ``/wave rebook``: what is missing at the sites, and another date."""

import re
from typing import Any

from bot.desk import Desk
from bot.model.fact import Actor, Ordered
from bot.model.subject import Subject, of_visit
from bot.model.visit.state import Visit
from bot.report.ready import lines, rows
from bot.speak.catalogue import Catalogue
from bot.speak.render import escaped, in_chat
from handlers.clock import Now

#: ``SITE 2026-03-19 18:00``: a site's name or id, then its new date.
_NEW_DATE = re.compile(r"(.+?) (?:for |to |on )?(\d{4}-\S.*)")
#: ``SITE line yes``: an item of the site is settled, or is not.
_SET = re.compile(r"(.+) (\w+) (yes|no)", re.IGNORECASE)
#: ``SITE start``: begin in spite of what is missing.
_START = re.compile(r"(.+) start(?: anyway)?", re.IGNORECASE)
#: So many lines fit into one answer, with the longest names (3,000 characters a block).
MOST = 15


class Readiness:
    """Answers these two orders. Who may order what is checked by the model."""

    def __init__(self, desk: Desk, catalogue: Catalogue, now: Now, command: str) -> None:
        self._desk, self._catalogue, self._now, self._command = desk, catalogue, now, command

    async def ready(self, wave: Subject, actor: Actor, given: str, body: dict[str, Any]) -> str:
        """What is missing, nearest start first; of one site, or an item of it set."""
        section = self._desk.surroundings.book.ready
        if section is None:
            return self._say("command_ready_none")
        visits = await self._desk.surroundings.visits(self._desk.store, wave.home)
        given = "" if given == wave.wave else given
        if not given:
            return self._list(wave, visits)
        if (visit := named(visits, given)) is not None:
            return self._list(wave, [visit])
        if found := _SET.fullmatch(given):
            args = {"item": found[2].lower(), "value": found[3].lower()}
            return await self._order(visits, found[1], actor, "ready", args, body)
        if found := _START.fullmatch(given):
            return await self._order(visits, found[1], actor, "start_anyway", {}, body)
        items = ", ".join(item.id for item in section.items)
        return self._say("command_ready_how", word=items)

    async def rebook(self, wave: Subject, actor: Actor, given: str, body: dict[str, Any]) -> str:
        """Another date for a site; where it is refused, the reason."""
        found = _NEW_DATE.fullmatch(given)
        if found is None:
            return self._say("command_rebook_how")
        visits = await self._desk.surroundings.visits(self._desk.store, wave.home)
        return await self._order(visits, found[1], actor, "new_date", {"when": found[2]}, body)

    def _list(self, wave: Subject, visits: list[Visit]) -> str:
        around, texts = self._desk.surroundings, self._catalogue.best("en")
        found = rows(visits, around.book, around.roster, self._now())
        if found:
            return escaped("\n".join(lines(found, texts, MOST)))
        if len(visits) == 1:
            return self._say("command_ready_site", site=visits[0].site.name)
        return self._say("command_ready_all", wave=wave.wave)

    async def _order(
        self,
        visits: list[Visit],
        name: str,
        actor: Actor,
        order: str,
        args: dict[str, str],
        body: dict[str, Any],
    ) -> str:
        visit = named(visits, name)
        if visit is None:
            return self._say("command_no_site", word=name)
        outcome = await self._desk.receive(
            Ordered(
                id=f"command:{body.get('trigger_id', '')}",
                subject=of_visit(visit.wave, visit.id),
                received_at=self._now(),
                actor=actor,
                order=order,
                args=args,
            )
        )
        if outcome.answer == "ok":
            done = "command_rebook_ok" if order == "new_date" else "command_ready_set"
            return self._say(done, site=visit.site.name)
        return self._say(f"order_{outcome.answer}")

    def _say(self, key: str, **args: str) -> str:
        given = {"command": self._command, **args}
        return self._catalogue.best("en").say(key, given, show=in_chat)


def named(visits: list[Visit], name: str) -> Visit | None:
    """The visit of that site, by its id or its name."""
    wanted = name.casefold()
    return next((v for v in visits if wanted in (v.id.casefold(), v.site.name.casefold())), None)
