"""The runbook: what a family of equipment needs from the people at a site, as validated data.

What it is made of stands in ``runbook_stage``.
"""

from collections.abc import Iterator
from functools import cached_property
from typing import Literal, Self

from pydantic import Field, model_validator

from bot.model import runbook_course
from bot.model.phrases import Phrases
from bot.model.runbook_back_out import BackOut, back_out_problems
from bot.model.runbook_cautions import Cautions
from bot.model.runbook_cautions import problems as caution_problems
from bot.model.runbook_course import SiteCheck
from bot.model.runbook_leaving import Leaving
from bot.model.runbook_morning import MorningSection
from bot.model.runbook_ready import ReadySection
from bot.model.runbook_returns import Returns
from bot.model.runbook_stage import (
    DEFAULT_ROUTES,
    NORMAL_BAND,
    SLOW_BAND,
    Answer,
    Ask,
    AskKind,
    Blink,
    Cause,
    Colour,
    Eligible,
    LightDo,
    Minutes,
    Mode,
    Owner,
    Part,
    Pattern,
    Route,
    Scope,
    Seen,
    Severity,
    Stage,
    Step,
)
from bot.model.tokens import clauses, words_of

__all__ = [
    "NORMAL_BAND",
    "SLOW_BAND",
    "Answer",
    "Ask",
    "AskKind",
    "Blink",
    "Cause",
    "Colour",
    "Eligible",
    "LightDo",
    "Limits",
    "Minutes",
    "Mode",
    "Owner",
    "Part",
    "Pattern",
    "Route",
    "Runbook",
    "Scope",
    "Seen",
    "Severity",
    "SiteCheck",
    "Stage",
    "Step",
    "problems",
]

#: A question of so few words is about what was just asked; shorter words name no part.
_FEW_WORDS, _LONG_WORD = 5, 4


class Limits(Part):
    """Times that are not a stage's own, in minutes."""

    after_cable_check: Minutes = 10
    link_down: Minutes = Field(description="longest expected time without the line")
    visit: Minutes = Field(description="the whole visit, as told to the contact")
    item: Minutes | None = Field(
        default=None, description="how much longer it is for each cable to move and thing to try"
    )
    taken_without_progress: Minutes = 45
    put_off_at_most: Minutes = 120
    third_party_at_most: Minutes = 24 * 60
    invite_ahead: Minutes = Field(default=3 * 24 * 60, description="first invitation before start")
    image: Minutes | None = Field(
        default=None, description="how much longer a unit takes that loads other software first"
    )
    soak: Minutes | None = Field(
        default=None, description="after its registration, how long a unit must go on being there"
    )
    heartbeat: Minutes | None = Field(
        default=None, description="how long a unit that gives signs of life may give none"
    )
    deputy_asked: Minutes = Field(default=5, description="deputy's time before a night call")


class Runbook(Part):
    """One family of equipment."""

    runbook: Literal[1] = Field(description="version of this file's form")
    family: str = Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,47}$")
    title: str
    models: dict[str, Eligible] = Field(min_length=1)
    blink: Blink
    patterns: dict[str, Pattern] = Field(min_length=1)
    limits: Limits
    stages: tuple[Stage, ...] = Field(min_length=1)
    routing: dict[Cause, Route]
    keep: tuple[str, ...] = Field(
        default=(), max_length=1, description="catalogue key of a sentence: what to keep, how long"
    )
    throw: tuple[str, ...] = Field(
        default=(), max_length=1, description="catalogue key of a sentence: what may go, and when"
    )
    words: dict[str, dict[str, str]] = Field(
        description="per language: names of parts and sockets used in the texts; {unit} in one "
        "stands for the unit; units, unit_1, unit_2, ... name those of a site with several"
    )
    answers: tuple[Answer, ...] = Field(
        default=(), description="what contacts ask back, the more particular first"
    )

    trouble: dict[str, tuple[str, ...]] = Field(
        default_factory=dict,
        description="per language: phrases that say, after the evening, that something is wrong",
    )

    wrong_cable: dict[str, tuple[str, ...]] = Field(
        default_factory=dict,
        description="per language: phrases that say that a wrong cable was pulled out",
    )
    not_arrived: dict[str, tuple[str, ...]] = Field(
        default_factory=dict,
        description="per language: phrases that say, before the evening, that no unit has come",
    )
    ready: ReadySection | None = Field(
        default=None, description="what must be settled at a site before its evening begins"
    )
    leaving: Leaving | None = Field(default=None, description="who has to go before the end")
    morning: MorningSection | None = Field(
        default=None, description="the site is asked when it opens next whether everything works"
    )

    returns: Returns | None = Field(
        default=None, description="old units that are sent back, and damaged ones"
    )
    back_out: BackOut | None = Field(
        default=None, description="the way back to the old unit; without it there is none"
    )
    cautions: Cautions | None = Field(
        default=None, description="the safety of the people at a site"
    )
    checks: tuple[SiteCheck, ...] = Field(
        default=(), description="what sites live on: names, and what to try first"
    )

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        for problem in problems(self):
            raise ValueError(problem)
        return self

    @cached_property
    def walks(self) -> "dict[tuple[tuple[str, ...], ...], tuple[Step, ...]]":
        """Steps of visits looked at lately, by serials, cables and checks (see
        ``bot.model.visit.steps``)."""
        return {}

    @cached_property
    def names(self) -> dict[tuple[str, str], dict[str, str]]:
        """What the parts are called, by language and unit (see ``bot.model.visit.parts``)."""
        return {}

    @cached_property
    def by_scope(self) -> tuple[tuple[Stage, ...], tuple[Stage, ...], tuple[Stage, ...]]:
        """Stages of the visit before any of a unit, those of each unit, the visit's others."""
        units = tuple(s for s in self.stages if s.scope == "unit")
        visits = tuple(s for s in self.stages if s.scope == "visit")
        first = self.stages.index(units[0])
        return visits[:first], units, visits[first:]

    @cached_property
    def _topics(self) -> dict[str, Phrases]:
        """By language, the phrases by which the topics are found."""
        langs = dict.fromkeys(lang for answer in self.answers for lang in answer.words)
        return {
            lang: Phrases({a.topic: a.words[lang] for a in self.answers if lang in a.words})
            for lang in langs
        }

    def answer_to(self, asked: str, lang: str, stage: str) -> Answer | None:
        """The answer whose phrases are found in the words: one for this very stage before one
        for any, then the longest phrase, then the order of the runbook."""
        said = words_of(asked)
        known = {answer.topic: answer for answer in self.answers}
        order = [answer.topic for answer in self.answers]
        own = [lang, *(other for other in self._topics if other != lang)]
        for phrases in (self._topics[name] for name in own if name in self._topics):
            hits = [
                (bool(known[hit.meaning].stages), hit.end - hit.start, -order.index(hit.meaning))
                for hit in phrases.find(said)
                if not known[hit.meaning].stages or stage in known[hit.meaning].stages
            ]
            if hits:
                return self.answers[-max(hits)[2]]
        return None

    @cached_property
    def _trouble(self) -> tuple[Phrases, ...]:
        return tuple(Phrases({"trouble": phrases}) for phrases in self.trouble.values())

    def says_trouble(self, said: str) -> bool:
        """Whether the words, after the evening, say in any language that something is wrong."""
        return _says(self._trouble, said)

    @cached_property
    def _wrong_cable(self) -> tuple[Phrases, ...]:
        return tuple(Phrases({"wrong": phrases}) for phrases in self.wrong_cable.values())

    def says_wrong_cable(self, said: str) -> bool:
        """Whether the words say in any language that a wrong cable was pulled out."""
        return _says(self._wrong_cable, said)

    @cached_property
    def _not_arrived(self) -> tuple[Phrases, ...]:
        return tuple(Phrases({"missing": phrases}) for phrases in self.not_arrived.values())

    def says_not_arrived(self, said: str) -> bool:
        """Whether the words say in any language that what is to be installed has not come."""
        return _says(self._not_arrived, said)

    def names_part(self, asked: str, lang: str) -> bool:
        """Whether a question has few words, or shares one of some length with the parts' names."""
        found = clauses(asked)
        asking = [clause for clause in found if clause.asks] or found
        said = [word for clause in asking for word in clause.words]
        few = any(len(clause.words) <= _FEW_WORDS for clause in asking)
        return few or self._shares_part(said, lang)

    def mentions_part(self, told: str, lang: str) -> bool:
        """Whether what is told shares a word of some length with the parts' names."""
        return self._shares_part([w for clause in clauses(told) for w in clause.words], lang)

    def _shares_part(self, said: list[str], lang: str) -> bool:
        names = self.words.get(lang) or self.words["en"]
        parts = {word for name in names.values() for word in words_of(name)}
        return any(word in parts for word in said if len(word) >= _LONG_WORD)

    def stage(self, stage_id: str) -> Stage:
        """The stage of that id; ``KeyError`` if there is none."""
        for stage in (*self.stages, *(self.back_out.stages if self.back_out else ())):
            if stage.id == stage_id:
                return stage
        raise KeyError(stage_id)

    def route(self, cause: Cause) -> Route:
        return self.routing.get(cause) or DEFAULT_ROUTES[cause]


def problems(book: Runbook) -> Iterator[str]:
    """What a schema cannot say; each problem as one sentence."""
    ids = [stage.id for stage in book.stages]
    if len(set(ids)) != len(ids):
        yield "two stages have the same id"
    for stage in book.stages:
        for name in stage.lights:
            if name not in book.patterns:
                yield f"stage {stage.id}: light {name} is not among the patterns"
        if any(ask.kind == "light" for ask in stage.asks) and not stage.lights:
            yield f"stage {stage.id}: asks for the light but lists no lights"
        asks = [ask.id for ask in stage.asks]
        if len(set(asks)) != len(asks):
            yield f"stage {stage.id}: two asks have the same id"
        for ask in stage.asks:
            if (ask.kind == "choice") != bool(ask.answers):
                yield f"stage {stage.id}: ask {ask.id}: answers go with kind choice, and only there"
            if set(ask.missing) - set(ask.answers):
                yield f"stage {stage.id}: ask {ask.id}: missing lists no answer of this ask"
    if sum(stage.waits_for_registration for stage in book.stages) != 1:
        yield "exactly one stage waits for the registration"
    scopes = [stage.scope for stage in book.stages]
    units = [i for i, scope in enumerate(scopes) if scope == "unit"]
    if not units or units != list(range(units[0], units[-1] + 1)):
        yield "the stages of scope unit must follow one another"
    for cause in Cause.__args__:  # type: ignore[attr-defined]
        if cause not in book.routing and cause not in DEFAULT_ROUTES:
            yield f"routing: cause {cause} is missing"
    topics = [answer.topic for answer in book.answers]
    for number, answer in enumerate(book.answers):
        if answer.topic in topics[:number]:
            yield f"answers: {answer.topic}: the topic stands there twice"
        for stage_id in answer.stages:
            if stage_id not in ids:
                yield f"answers: {answer.topic}: there is no stage {stage_id}"
        if not _worded(answer.words):
            yield f"answers: {answer.topic}: a phrase has no words"
    for name, phrases in (
        ("trouble", book.trouble),
        ("wrong_cable", book.wrong_cable),
        ("not_arrived", book.not_arrived),
    ):
        if not _worded(phrases):
            yield f"{name}: a phrase has no words"
    if book.leaving is not None:
        yield from book.leaving.problems(ids)
    if book.returns is not None:
        yield from book.returns.problems()
    if book.back_out is not None:
        yield from back_out_problems(book.back_out, ids)
    if book.cautions is not None:
        back = book.back_out.stages if book.back_out is not None else ()
        yield from caution_problems(book.cautions, [*ids, *(stage.id for stage in back)])
    if book.morning is not None:
        yield from book.morning.problems()
    back = book.back_out.stages if book.back_out is not None else ()
    yield from runbook_course.problems(book.stages, book.checks, back)
    if "en" not in book.words:
        yield "words: English (en) is missing"


def _says(known: tuple[Phrases, ...], said: str) -> bool:
    words = words_of(said)
    return any(phrases.find(words) for phrases in known)


def _worded(phrases: dict[str, tuple[str, ...]]) -> bool:
    """Whether every phrase of every language can be found in somebody's words."""
    return all(listed and all(map(words_of, listed)) for listed in phrases.values())
