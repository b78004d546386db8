"""What is on a site's sheet: taken from plan, runbook and catalogue, as the chat says it.

A step of the sheet is the text of the chat's question, without the sentences that make sense only
at their moment: a clock time, a greeting, a thank-you. So the two cannot disagree.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from bot.access import Access, url
from bot.model.runbook import Ask, Runbook, Stage
from bot.model.runbook_course import called, check_of
from bot.model.visit.state import Person, Visit
from bot.model.visit.steps import length, steps
from bot.speak.catalogue import Texts, parse

#: Where a sentence of a text ends.
_SENTENCE = re.compile(r"(?<=[.!?])\s+")
#: A sentence with one of these is of its moment.
_MOMENT = re.compile(r"\{(?:until|now|latest):")
#: So few words are a greeting or thanks.
_COURTESY = 2
#: Questions of the days before, and what nobody needs on paper.
_NOT_PRINTED = frozenset(("consent", "callback"))
#: How the meanings of a light are printed; ``next`` is all well, like ``wait``.
_MEANS = {"next": "wait"}


@dataclass(frozen=True)
class Team:
    """Who is called: from the settings."""

    phone: str = ""
    emergency: str = "112"


@dataclass(frozen=True)
class Door:
    """How the contact reaches their page, and knows us."""

    access: Access
    base: str


@dataclass(frozen=True)
class Step:
    title: str
    text: str


@dataclass(frozen=True)
class Sheet:
    """All words of one sheet, in one language. ``*words*`` stand for bold type."""

    site: str
    wave: str
    lang: str
    title: str
    danger: str
    facts: tuple[tuple[str, str], ...]
    proof: str
    link: str  # empty: no page
    beside_link: str
    with_us: tuple[str, ...]
    headings: Mapping[str, str]
    cautions: tuple[str, ...]
    steps: tuple[Step, ...]
    lights: tuple[tuple[str, str], ...]
    blink: str
    parts: tuple[str, ...]
    keep: tuple[str, ...]
    page: str  # a form with {page} and {pages}

    @property
    def name(self) -> str:
        """Of its file, without the ending."""
        return f"{self.wave}-{self.site}-{self.lang}"


def languages(visit: Visit, known: Sequence[str]) -> list[str]:
    """The languages of a site's people that there are texts for, the contact's first."""
    people = [p for p in (visit.contact, visit.deputy) if p is not None]
    wanted = [_known(visit.lang_of(person), known) for person in people]
    return list(dict.fromkeys(wanted))


def _known(lang: str, known: Sequence[str]) -> str:
    found = [one for one in (lang, lang.partition("-")[0]) if one in known]
    return found[0] if found else "en"


def sheet_of(
    visit: Visit,
    book: Runbook,
    texts: Texts,
    people: Mapping[str, Mapping[str, str]],
    team: Team,
    door: Door | None = None,
) -> Sheet:
    """The sheet of one visit; ``people`` are the personal data by key."""
    return _Writer(visit, book, texts, people, team, door).sheet()


class _Writer:
    def __init__(
        self,
        visit: Visit,
        book: Runbook,
        texts: Texts,
        people: Mapping[str, Mapping[str, str]],
        team: Team,
        door: Door | None,
    ) -> None:
        self.visit, self.book, self.texts = visit, book, texts
        self.people, self.team, self.door = people, team, door
        words = book.words.get(texts.lang) or book.words["en"]
        unit = words.get("unit", "")
        self.words = {name: text.replace("{unit}", unit) for name, text in words.items()}
        self.args = self._args()

    def _args(self) -> dict[str, str]:
        visit = self.visit
        args = {
            **self.words,
            "site": visit.site.name,
            "contact": self._name(visit.contact),
            "serial": " / ".join(unit.serial for unit in visit.units),
            "model": " / ".join(dict.fromkeys(unit.model for unit in visit.units)),
            "start": str(visit.start),
            "visit": str(length(self.book, visit.site)),
            "zone": visit.site.tz,
            "emergency": self.team.emergency,
        }
        for name, keys in (("keep", self.book.keep), ("throw", self.book.throw)):
            args[name] = self.texts.say(keys[0], args, visit.site.tz) if keys else ""
        return args

    def say(self, key: str, **more: str) -> str:
        return self.texts.say(key, {**self.args, **more}, self.visit.site.tz)

    def _name(self, person: Person) -> str:
        return self.people.get(person.key, {}).get("name", "") or person.user

    def sheet(self) -> Sheet:
        visit = self.visit
        code = self._code()
        return Sheet(
            site=visit.id,
            wave=visit.wave,
            lang=self.texts.lang,
            title=self.say("sheet_title"),
            danger=self.say("sheet_danger"),
            facts=tuple(self._facts(code)),
            proof=self.say("sheet_proof", code=code) if code else "",
            link=self._link(),
            beside_link=self.say("sheet_scan") if self.door else self.say("sheet_by_chat"),
            with_us=tuple(self._with_us()),
            headings={key: self.say(f"sheet_h_{key}") for key in _HEADINGS},
            cautions=tuple(self._cautions()),
            steps=tuple(self._steps()),
            lights=tuple(self._lights()),
            blink=self._blink(),
            parts=tuple(self._parts()),
            keep=tuple(self.say(key) for key in (*self.book.keep, *self.book.throw)),
            page=self.say("sheet_page", page="{page}", pages="{pages}"),
        )

    # --- the head ------------------------------------------------------------------------

    def _facts(self, code: str) -> Iterator[tuple[str, str]]:
        visit, say = self.visit, self.say
        several = len(visit.units) > 1
        yield say("sheet_when_name"), f"*{say('sheet_when')}* ({say('sheet_zone')})"
        where = ", ".join(part for part in (visit.site.name, visit.site.address) if part)
        yield say("sheet_site_name"), where
        yield say("sheet_contact_name"), self.args["contact"]
        if visit.deputy is not None:
            yield say("sheet_deputy_name"), self._name(visit.deputy)
        yield say("sheet_team_name"), f"*{self.team.phone or say('sheet_no_phone')}*"
        key = "sheet_numbers_name" if several else "sheet_number_name"
        yield say(key), " ".join(f"*{unit.serial}*" for unit in visit.units)
        if code:
            yield say("sheet_code_name"), f"*{code}*"

    def _code(self) -> str:
        return self.door.access.proof(self.visit.wave, self.visit.id) if self.door else ""

    def _link(self) -> str:
        if self.door is None:
            return ""
        visit = self.visit
        token = self.door.access.token(visit.wave, visit.id, visit.page.generation)
        return url(self.door.base, token)

    def _with_us(self) -> Iterator[str]:
        yield self.say("sheet_with_us")
        if len(self.visit.units) > 1:
            yield self.say("sheet_each")

    def _cautions(self) -> Iterator[str]:
        section = self.book.cautions
        if section is not None:
            for key in section.on_sheet(vehicle=self.visit.site.vehicle):
                yield self.say(key)

    # --- the steps -----------------------------------------------------------------------

    def _steps(self) -> Iterator[Step]:
        """Each stage of the walk once, however many units or cables it is walked for."""
        stages: dict[str, Stage] = {}
        items: dict[str, list[str]] = {}
        for step in steps(self.book, self.visit):
            stages.setdefault(step.stage.id, step.stage)
            if step.item:
                items.setdefault(step.stage.id, []).append(step.item)
        for stage in stages.values():
            text = " ".join(self._sentences(stage, items.get(stage.id, [])))
            if text:
                title = self.say(stage.plain) if stage.plain else ""
                yield Step(title[:1].upper() + title[1:], text)

    def _sentences(self, stage: Stage, items: Sequence[str]) -> Iterator[str]:
        """What the stage asks; of what the site list names each check, and of cables the first."""
        asks = [ask for ask in stage.asks if self._needed(ask)]
        if stage.each == "checks":
            for item in items:
                yield from (self._check(ask, item) for ask in asks)
            return
        for ask in asks:
            yield self._printed(ask.text, item=items[0] if items else "")
        if len(items) > 1:
            others = ", ".join(self.say("sheet_other", other=one) for one in items[1:])
            yield self.say("sheet_same", others=others)

    def _check(self, ask: Ask, item: str) -> str:
        checks = self.book.checks
        known = check_of(checks, item)
        text = known.text if known is not None and known.text else ask.text
        return self._printed(text, item=called(checks, item, self.texts.lang))

    def _needed(self, ask: Ask) -> bool:
        if ask.kind == "version":
            return any(not unit.version for unit in self.visit.units)
        return ask.kind not in _NOT_PRINTED

    def _printed(self, key: str, **more: str) -> str:
        """The text of the question without what is of its moment."""
        kept = [one for one in _SENTENCE.split(_raw(self.texts, key)) if _lasts(one)]
        only = replace(self.texts, own={key: parse(key, " ".join(kept))})
        return only.say(key, {**self.args, **more}, self.visit.site.tz, lenient=True)

    # --- lights, parts -------------------------------------------------------------------

    def _lights(self) -> Iterator[tuple[str, str]]:
        """Each pattern as its button calls it, and what it means where it is first asked about."""
        meant: dict[str, str] = {}
        for stage in self.book.stages:
            for name, seen in stage.lights.items():
                meant.setdefault(name, _MEANS.get(seen.do, seen.do))
        for name, pattern in self.book.patterns.items():
            if name in meant:
                yield self.say(pattern.means), self.say(f"sheet_do_{meant[name]}")

    def _blink(self) -> str:
        blink = self.book.blink
        return self.say("sheet_blink", slow=f"{blink.slow * 10:.0f}", fast=f"{blink.fast * 10:.0f}")

    def _parts(self) -> Iterator[str]:
        """The names that the texts use, but of single units among several."""
        for name, text in self.words.items():
            if name != "units" and not name.startswith("unit_"):
                yield text


_HEADINGS = ("cautions", "steps", "lights", "seen", "means", "parts", "keep")


def _raw(texts: Texts, key: str) -> str:
    """The text as it stands in its file. Raises ``KeyError``."""
    if key in texts.raw:
        return texts.raw[key]
    if texts.behind is None:
        raise KeyError(key)
    return _raw(texts.behind, key)


def _lasts(sentence: str) -> bool:
    """Whether a sentence is as true on paper as at its moment."""
    if _MOMENT.search(sentence):
        return False
    says = sentence.startswith("{") or sentence.endswith("?")
    return says or len(sentence.split()) > _COURTESY
