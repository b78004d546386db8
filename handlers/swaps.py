"""Orders about one site that name units: what is written, and whom else they concern.

Written in a site's thread as a mention, or behind a site's name in the chat command.
"""

import re
from typing import Any

from msgspec.structs import replace

from bot.desk import Desk
from bot.model.fact import Actor, Ordered
from bot.model.subject import Subject, of_visit
from bot.model.visit.state import Visit
from bot.speak.catalogue import Texts
from bot.speak.render import in_chat
from handlers.clock import Now
from handlers.routing import by_serial

_SERIAL = r"[A-Za-z0-9][A-Za-z0-9._-]{2,39}"
_WHEN = r"\d{4}-\d{2}-\d{2} \d{2}:\d{2}"
#: ``replace OLD with NEW from store, damaged, 2026-03-19 18:00``; new serial and date may follow.
_REPLACE = re.compile(
    rf"replace (?P<old>{_SERIAL})(?: (?:with|by) (?P<new>{_SERIAL}))?,? from (?P<source>store|"
    rf"(?:an)?other site|maker),? (?:because )?(?P<reason>damaged|dead|wrong|missing)"
    rf"(?:,? (?:on |for )?(?P<when>{_WHEN}))?",
    re.IGNORECASE,
)
_SPARE = re.compile(
    rf"spare (?P<new>{_SERIAL})(?:,? (?:on |for )?(?P<when>{_WHEN}))?", re.IGNORECASE
)
_TRACKING = re.compile(
    r"tracking (?:number )?(?P<tracking>[A-Za-z0-9][A-Za-z0-9 -]{3,39})", re.IGNORECASE
)
_BACK = re.compile(rf"(?P<what>received|wiped)(?: (?P<serial>{_SERIAL}))?", re.IGNORECASE)
_PLAIN = {
    "old box may go": "old_may_go",
    "old unit may go": "old_may_go",
    "back out": "back_out",
    "back-out": "back_out",
    "go-on": "go_on",
    "old-box-may-go": "old_may_go",
    "go on": "go_on",
}
_BEGINS = ("replace ", "spare ")


def swap_order(said: str) -> tuple[str, dict[str, str]] | None:
    """The order and its arguments; ``None`` when it is none of these."""
    if said.lower() in _PLAIN:
        return _PLAIN[said.lower()], {}
    if found := _REPLACE.fullmatch(said):
        args = {name: value for name, value in found.groupdict().items() if value}
        source = args["source"].lower()
        args |= {"reason": args["reason"].lower()}
        args |= {"source": "other_site" if source.endswith("other site") else source}
        return "replace", args
    if found := _SPARE.fullmatch(said):
        return "spare", {name: value for name, value in found.groupdict().items() if value}
    if found := _TRACKING.fullmatch(said):
        return "tracking", {"tracking": found["tracking"].upper()}
    if found := _BACK.fullmatch(said):
        what = "return_back" if found["what"].lower() == "received" else "return_wiped"
        return what, {"serial": found["serial"] or ""}
    if said.lower().startswith(_BEGINS):
        return "replace", {}  # not written as it must be: the visit says how
    return None


async def with_other(desk: Desk, fact: Ordered) -> Ordered:
    """With the visit that expects the spare now, if another one does."""
    new = fact.args.get("new", "")
    other = await by_serial(desk, new) if new else None
    if other is None or other == fact.subject:
        return fact
    return replace(fact, args={**fact.args, "other": str(other)})


class SiteOrders:
    """``/wave replace SITE: ...``, ``/wave back-out SITE``: the same orders, by a site's name."""

    def __init__(self, desk: Desk, now: Now, texts: Texts, command: str) -> None:
        self._desk, self._now, self._texts, self._command = desk, now, texts, command

    async def answer(self, wave: Subject, actor: Actor, words: str, body: dict[str, Any]) -> str:
        """``words`` begin with the order: ``replace SITE: OLD ...`` or ``back-out SITE``."""
        verb, _, rest = words.partition(" ")
        name, colon, what = rest.partition(":")
        said = f"{verb} {what.strip()}" if colon else verb
        order = swap_order(" ".join(said.split()))
        if order is None or not name.strip():
            return self._say("command_how_site")
        visit = await self._named(wave, name)
        if visit is None:
            return self._say("command_no_site", word=name.strip())
        fact = Ordered(
            id=f"command:{body.get('trigger_id', '')}",
            subject=of_visit(wave.wave, visit.id),
            received_at=self._now(),
            actor=actor,
            order=order[0],
            args=order[1],
        )
        outcome = await self._desk.receive(await with_other(self._desk, fact))
        if outcome.answer == "ok":
            return self._say("command_done", site=visit.site.name)
        return self._say(f"order_{outcome.answer}")

    async def _named(self, wave: Subject, name: str) -> Visit | None:
        wanted = " ".join(name.split()).casefold()
        for visit in await self._desk.surroundings.visits(self._desk.store, wave.home):
            if wanted in (visit.id.casefold(), visit.site.name.casefold()):
                return visit
        return None

    def _say(self, key: str, **args: str) -> str:
        return self._texts.say(key, {"command": self._command, **args}, show=in_chat)


#: Words with which a command about one site begins.
VERBS = frozenset(
    ("replace", "spare", "back-out", "go-on", "tracking", "received", "wiped", "old-box-may-go")
)
