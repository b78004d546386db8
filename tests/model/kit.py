"""A visit walked by hand: a clock moved by minutes, the real runbook, texts and reader, no I/O.

Every decision is checked on its way: what evolves from its events is what it says it is, every
message can be said from the catalogue, and a deadline that was acted on moved or went.
"""

import functools
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import msgspec
from msgspec.structs import replace

from bot.model.context import Context
from bot.model.decision import Decision
from bot.model.fact import (
    AccountChanged,
    Actor,
    AnyFact,
    Delivered,
    Due,
    Gap,
    Ordered,
    Place,
    Planned,
    Pressed,
    Registered,
    Said,
    Told,
    Undeliverable,
)
from bot.model.message import Message
from bot.model.policy import MINUTE, Policy
from bot.model.roster import Roster, Staff
from bot.model.runbook import Runbook
from bot.model.subject import Subject, of_visit, of_wave
from bot.model.visit.decide import decide
from bot.model.visit.evolve import evolve
from bot.model.visit.state import Person, Plan, Site, Unit, Visit
from bot.model.visit.timing import deadlines
from bot.runbooks.load import load
from bot.speak.catalogue import standard
from bot.speak.lexicon import languages, lexicon

WAVE, SITE = "hollowmere-1", "brook"
CONTACT = Person("k1", "U0CONTACT")
DEPUTY = Person("k2", "U0DEPUTY")
ONCALL = Actor("U0ONCALL", oncall=True)
SECOND = Actor("U0SECOND", oncall=True)
ADMIN = Actor("U0ADMIN", admin=True)
STRANGER = Actor("U0STRANGER")
ROSTER = Roster(
    (
        Staff(ONCALL.user, "Ida Fenn", frozenset({"oncall"}), mail="ida@example.org"),
        Staff(SECOND.user, "Olof Marsh", frozenset({"oncall"}), rank=1),
        Staff(ADMIN.user, "Ann Reed", frozenset({"admin"}), rank=2),
    )
)
BOOK_PATH = Path(__file__).parents[2] / "bot" / "practice" / "hollowmere" / "runbook.yaml"
SERIAL, OTHER = "HML-4F7K2Q", "HML-8T3W9X"
LEAST = "4.2.0"
CONTACT_LENGTH = 300


@functools.cache
def book() -> Runbook:
    """The demo's, without its soak (what is about that sets one, see ``soaked``) and without
    what it wants before the evening, which is walked in ``ready_kit``."""
    return soaked(load(BOOK_PATH).model_copy(update={"ready": None}), None)


def soaked(book: Runbook, soak: float | None, heartbeat: float | None = None) -> Runbook:
    limits = book.limits.model_copy(update={"soak": soak, "heartbeat": heartbeat})
    return book.model_copy(update={"limits": limits})


def clock(text: str, tz: str = "Europe/London") -> int:
    """``2026-10-20 19:00`` at the site as milliseconds UTC."""
    return int(datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(tz)).timestamp() * 1000)


START = clock("2026-10-20 19:00")
UNIT = Unit(SERIAL, "HG-10", LEAST)
SECOND_UNIT = Unit(OTHER, "HG-10", LEAST)


def plan(
    units: Sequence[Unit] = (UNIT,),
    *,
    start: int = START,
    deputy: Person | None = DEPUTY,
    tz: str = "Europe/London",
    end: int | None = None,
    vehicle: bool = False,
) -> Plan:
    site = Site(
        "Brook Library",
        tz,
        phone="01632 960100",
        address="1 Brook Lane, Hollowmere",
        circuit="HL-0042",
        carrier="Vale Lines",
        fault_line="01632 960199",
        vehicle=vehicle,
    )
    return Plan(site, tuple(units), CONTACT, start, deputy, end)


def context(**changes: Any) -> Context:
    words = {lang: lexicon(lang) for lang in languages()}
    base = Context(book=book(), lexicons=words, policy=Policy(), roster=ROSTER)
    return replace(base, **changes)


class Wrong(AssertionError):
    """The model broke one of its own rules."""


class Walk:
    """One visit. ``auto``: whatever goes to the outbox is delivered at once."""

    def __init__(
        self,
        plan: Plan | None = None,
        *,
        at: int | None = None,
        auto: bool = True,
        context: Context | None = None,
    ) -> None:
        self.subject: Subject = of_visit(WAVE, SITE)
        self.context = context or globals()["context"]()
        self.now = START - 24 * 60 * MINUTE if at is None else at
        self.auto = auto
        self.state: Visit | None = None
        self.version = 0
        self.number = 0
        self.answer = ""
        self.journal: list[tuple[object, int]] = []
        self.messages: list[Message] = []
        self.pending: list[Message] = []
        if plan is not None:
            self.plan(plan)

    @property
    def visit(self) -> Any:
        """The :class:`Visit`; ``Any``, as what one assert finds may be otherwise after a fact."""
        assert self.state is not None
        return self.state

    # --- facts -------------------------------------------------------------------------

    def plan(self, plan: Plan) -> str:
        return self.bring(Planned(plan=msgspec.json.encode(plan), **self._base()))

    def say(
        self,
        words: str,
        user: Actor | str = CONTACT.user,
        *,
        place: Place = "thread",
        edited: bool = False,
    ) -> str:
        actor = _actor(user)
        fact = Said(actor=actor, words=words, place=place, edited=edited, **self._base())
        return self.bring(fact)

    def press(self, value: str, user: Actor | str = CONTACT.user) -> str:
        """Press the newest button with that value (``done``, ``light:fault``, ``help``)."""
        return self.press_action(self.button(value), user)

    def press_action(self, action: str, user: Actor | str = CONTACT.user) -> str:
        return self.bring(Pressed(actor=_actor(user), action=action, **self._base()))

    def call_press(self, verb: str, user: Actor | str = ONCALL, call: str = "") -> str:
        """A button of a call, by default of the newest that is open."""
        name = call or self.visit.open_calls[-1].id
        return self.press_action(f"e:{name}:{verb}", user)

    def report(self, progress: str, message: str = "", serial: str = SERIAL) -> str:
        """A progress report of a unit (RFC 8572)."""
        return self.bring(
            Registered(
                **self._base(),
                serial=serial,
                source="units",
                kind="progress",
                progress=progress,
                message=message,
            )
        )

    def register(self, serial: str = SERIAL, kind: Any = "registered") -> str:
        base = self._base()
        return self.bring(Registered(serial=serial, source="registry", kind=kind, **base))

    def order(self, order: str, by: Actor = ADMIN, **args: str) -> str:
        return self.bring(Ordered(actor=by, order=order, args=args, **self._base()))

    def tell(self, what: str) -> str:
        return self.bring(Told(source=of_wave(WAVE), what=what, **self._base()))

    def hold(self) -> str:
        self.context = replace(self.context, held=True)
        return self.tell("held")

    def resume(self) -> str:
        self.context = replace(self.context, held=False)
        return self.tell("resumed")

    def account(self, user: str, *, disabled: bool) -> str:
        return self.bring(AccountChanged(user=user, disabled=disabled, **self._base()))

    def gap(self, minutes: float) -> str:
        """We were away for the last ``minutes``; nothing was delivered and nothing fell due."""
        since = self.now
        self.now += round(minutes * MINUTE)
        return self.bring(Gap(since=since, until=self.now, why="bot", **self._base()))

    def deliver(self) -> None:
        """Confirm every message to chat and mail."""
        while self.pending:
            message = self.pending.pop(0)
            if message.way in ("chat", "mail"):
                self.bring(delivered(message, self._base()))

    def undeliverable(self, message: Message) -> str:
        base = self._base()
        return self.bring(
            Undeliverable(
                message=message.id,
                template=message.template,
                thread=message.thread,
                why="channel_not_found",
                **base,
            )
        )

    def due(self, kind: str) -> str:
        """The deadline ``kind`` fires now, whether or not it is due."""
        return self.bring(Due(kind=kind, version=self.version, **self._base()))

    def _base(self) -> dict[str, Any]:
        self.number += 1
        return {"id": f"f{self.number}", "subject": self.subject, "received_at": self.now}

    # --- time --------------------------------------------------------------------------

    @property
    def deadlines(self) -> dict[str, int]:
        if self.state is None:
            return {}
        return deadlines(self.state, self.context.book, self.context.policy)

    def advance(self, minutes: float) -> None:
        """Let time pass; deadlines fire in their order, as the clock would bring them."""
        until = self.now + round(minutes * MINUTE)
        for _ in range(2000):
            kind, at = min(self.deadlines.items(), key=lambda d: (d[1], d[0]), default=("", until))
            if at > until or not kind:
                self.now = until
                return
            self.now = max(self.now, at)
            self.due(kind)
        raise Wrong(f"deadlines never end: {self.deadlines}")

    def until(self, instant: int) -> None:
        self.advance((instant - self.now) / MINUTE)

    # --- the decision ------------------------------------------------------------------

    def bring(self, fact: AnyFact) -> str:
        ctx = replace(self.context, version=self.version)
        decision = decide(self.state, fact, ctx)
        if decision is None:
            self.answer = "none"
            return "none"
        self._take(fact, decision)
        if self.auto:
            self.deliver()
        return self.answer_of(decision)

    def answer_of(self, decision: Decision[Visit]) -> str:
        self.answer = decision.answer
        return decision.answer

    def _take(self, fact: AnyFact, decision: Decision[Visit]) -> None:
        state = self.state
        for event in decision.events:
            state = evolve(state, event, fact.received_at)  # type: ignore[arg-type]
        if state != decision.after:
            raise Wrong(f"{fact}: replaying its events gives another visit")
        for message in decision.messages:
            check_message(message)
        self.state = decision.after
        self.journal += [(event, fact.received_at) for event in decision.events]
        self.version += bool(decision.events or decision.messages)
        self.messages += decision.messages
        self.pending += decision.messages
        if isinstance(fact, Due):
            again = self.deadlines.get(fact.kind)
            if again is not None and again <= fact.received_at:
                raise Wrong(f"{fact.kind} is due again at once")

    def replayed(self) -> Visit | None:
        """The snapshot that the journal gives from its beginning."""
        state: Visit | None = None
        for event, at in self.journal:
            state = evolve(state, event, at)  # type: ignore[arg-type]
        return state

    # --- what was said -----------------------------------------------------------------

    @property
    def said(self) -> list[str]:
        """Templates said in the visit's thread, oldest first."""
        return [m.template for m in self.messages if m.thread == f"site:{SITE}"]

    @property
    def last(self) -> str:
        return self.said[-1]

    def text(self, template: str) -> str:
        """The newest message of that template, in words."""
        return worded(next(m for m in reversed(self.messages) if m.template == template))

    @property
    def team(self) -> list[str]:
        """Templates said in threads of calls."""
        return [m.template for m in self.messages if m.thread.startswith("esc:")]

    @property
    def called(self) -> str:
        """Whom the newest call in the team's channel names."""
        calls = [m for m in self.messages if m.template in ("call", "call_again")]
        return calls[-1].args["to_users"] if calls else ""

    @property
    def told(self) -> list[str]:
        """What the wave was told."""
        facts = (m.fact for m in self.messages if m.way == "fact")
        return [msgspec.json.decode(fact, type=Told).what for fact in facts]

    def button(self, value: str) -> str:
        for message in reversed(self.messages):
            for button in message.buttons:
                if button.action.split(":", 2)[2] == value and button.action[0] in "avhm":
                    return button.action
        raise Wrong(f"no button {value} was ever shown")

    def asked(self) -> str:
        """The ask of the open question, with its stage; empty when none is open."""
        question = self.visit.question
        return f"{question.stage}.{question.ask}" if question else ""

    def causes(self, *, open_only: bool = True) -> list[str]:
        return [c.cause for c in self.visit.calls if c.open or not open_only]

    # --- on the way --------------------------------------------------------------------

    def agree(self) -> "Walk":
        self.until(self.deadlines["invite"])
        self.press("yes")
        return self

    def begin(self) -> "Walk":
        """Agreed, the evening has come, and the contact is there."""
        self.agree()
        self.until(self.visit.start)
        self.press("here")
        return self

    def to(self, place: str) -> "Walk":
        """Answer as hoped for until the question ``stage.ask`` is open."""
        if self.visit.state == "planned":
            self.until(self.deadlines["invite"])
        good = {"consent": "yes", "begin": "here", "serial": "same", "choice": "lead_one"}
        for _ in range(40):
            if self.asked() == place:
                return self
            if self.visit.state == "agreed":
                self.until(self.visit.start)
                continue
            question = self.visit.question
            assert question is not None, f"nothing is open on the way to {place}"
            self.advance(1)
            if question.kind == "light":
                self.advance(5)
                self.press("light:reaching")
            elif question.kind == "version":
                self.say(LEAST)
            else:
                self.press(good.get(question.kind, "done"))
        raise Wrong(f"{place} was not reached")


def delivered(message: Message, base: dict[str, Any]) -> Delivered:
    return Delivered(
        message=message.id,
        template=message.template,
        thread=message.thread,
        channel="C1",
        stamp=f"{base['received_at']}.1",
        slot=message.slot,
        rev=message.rev,
        root=message.root,
        **base,
    )


def _actor(user: Actor | str) -> Actor:
    return ROSTER.actor(user) if isinstance(user, str) else user


def worded(message: Message) -> str:
    """The message as people read it; raises when a text or an argument is missing."""
    texts = standard().best(message.lang)
    args = {"press": "https://example.org/p/x"} if message.to else {}
    for name, value in message.args.items():
        if value.startswith("@p:"):
            if value.count(":") != 2 or value.endswith(":"):
                raise Wrong(f"{message.template}: {name} is no personal data: {value}")
            args[name] = "Mary Holloway-Smythe"
        elif value.startswith("@t:"):
            args[name] = "https://example.org/archives/C1/p1"
        elif not value.startswith("@x:"):
            args[name] = value
    for name, value in message.args.items():
        if value.startswith("@x:"):
            args[name] = texts.say(value[3:], args, message.tz)
    for button in message.buttons:
        texts.say(button.label, args, message.tz)
    said = texts.say(message.template, args, message.tz)
    return "\n".join([said, *(texts.say(key, args, message.tz) for key in message.beside)])


def check_message(message: Message) -> None:
    if message.way not in ("chat", "mail", "webhook"):
        return
    text = worded(message)
    to_contact = message.thread.startswith("site:") or message.thread == f"user:{DEPUTY.user}"
    if to_contact and len(text) > CONTACT_LENGTH:
        raise Wrong(f"{message.template} has {len(text)} characters: {text}")
