"""A wave walked by hand, each decision checked as in ``kit``."""

from typing import Any

import msgspec
from msgspec.structs import replace

from bot.model.board import Board, board
from bot.model.context import Context
from bot.model.fact import (
    Actor,
    AnyFact,
    Due,
    Gap,
    Ordered,
    Planned,
    Pressed,
    Registered,
    Said,
    Told,
)
from bot.model.message import Message
from bot.model.policy import MINUTE
from bot.model.subject import of_visit, of_wave
from bot.model.visit.state import Visit
from bot.model.wave.decide import deadlines, decide
from bot.model.wave.state import Wave, WavePlan, evolve
from tests.model.kit import (
    ADMIN,
    ONCALL,
    SITE,
    START,
    STRANGER,
    WAVE,
    Wrong,
    check_message,
    context,
)

OPENS = START - 60 * MINUTE
WAVE_PLAN = WavePlan(("C1", "C2"), OPENS, "s1", 40)


class WaveWalk:
    """One wave. ``visits`` are what its summary counts."""

    def __init__(self, plan: WavePlan | None = WAVE_PLAN, **changes: Any) -> None:
        self.subject = of_wave(WAVE)
        self.context: Context = context(**changes)
        self.visits: list[Visit] = []
        self.now = OPENS - 60 * MINUTE
        self.state: Wave | None = None
        self.version = self.number = 0
        self.held: bool | None = None  # what the store was told about the hold
        self.journal: list[tuple[Any, int]] = []
        self.messages: list[Message] = []
        if plan is not None:
            self.plan(plan)

    @property
    def wave(self) -> Any:
        """The :class:`Wave`; ``Any``, as what one assert finds may be otherwise after a fact."""
        assert self.state is not None
        return self.state

    def plan(self, plan: WavePlan) -> str:
        return self.bring(Planned(plan=msgspec.json.encode(plan), **self._base()))

    def order(self, order: str, by: Actor = ADMIN, **args: str) -> str:
        return self.bring(Ordered(actor=by, order=order, args=args, **self._base()))

    def tell(self, what: str, site: str = SITE) -> str:
        source = of_visit(WAVE, site)
        return self.bring(Told(source=source, what=what, args={"site": site}, **self._base()))

    def say(self, words: str, by: Actor = STRANGER) -> str:
        return self.bring(Said(actor=by, words=words, place="channel", **self._base()))

    def call_press(self, verb: str, by: Actor = ONCALL, call: str = "") -> str:
        name = call or next(c.id for c in self.wave.calls if c.open)
        return self.press_action(f"e:{name}:{verb}", by)

    def press_action(self, action: str, by: Actor) -> str:
        return self.bring(Pressed(actor=by, action=action, **self._base()))

    def gap(self, minutes: float) -> str:
        since = self.now
        self.now += round(minutes * MINUTE)
        return self.bring(Gap(since=since, until=self.now, why="store", **self._base()))

    def register(self) -> str:
        return self.bring(Registered(serial="HML-X", source="registry", **self._base()))

    def due(self, kind: str) -> str:
        return self.bring(Due(kind=kind, version=self.version, **self._base()))

    def _base(self) -> dict[str, Any]:
        self.number += 1
        return {"id": f"f{self.number}", "subject": self.subject, "received_at": self.now}

    @property
    def deadlines(self) -> dict[str, int]:
        return deadlines(self.state) if self.state else {}

    def advance(self, minutes: float) -> None:
        until = self.now + round(minutes * MINUTE)
        for _ in range(5000):
            kind, at = min(self.deadlines.items(), key=lambda d: (d[1], d[0]), default=("", until))
            if at > until or not kind:
                self.now = until
                return
            self.now = max(self.now, at)
            self.due(kind)
        raise Wrong(f"deadlines never end: {self.deadlines}")

    @property
    def board(self) -> Board:
        return board(self.visits, self.now, self.context.book)

    def bring(self, fact: AnyFact) -> str:
        summary = self.board if isinstance(fact, Due) and fact.kind == "pin" else None
        held = self.state.held if self.state else False
        ctx = replace(self.context, version=self.version, held=held, board=summary)
        decision = decide(self.state, fact, ctx)
        if decision is None:
            return "none"
        state = self.state
        for event in decision.events:
            state = evolve(state, event, fact.received_at, WAVE)  # type: ignore[arg-type]
        if state != decision.after:
            raise Wrong(f"{fact}: replaying its events gives another wave")
        if decision.hold is not None:
            self.held = decision.hold
        for message in decision.messages:
            check_message(message)
        self.journal += [(event, fact.received_at) for event in decision.events]
        self.messages += decision.messages
        self.state = decision.after
        self.version += bool(decision.events or decision.messages)
        if isinstance(fact, Due) and self.deadlines.get(fact.kind, self.now + 1) <= self.now:
            raise Wrong(f"{fact.kind} is due again at once")
        return decision.answer

    def replayed(self) -> Wave | None:
        state: Wave | None = None
        for event, at in self.journal:
            state = evolve(state, event, at, WAVE)
        return state

    @property
    def team(self) -> list[str]:
        """Templates that went to the team, oldest first."""
        return [m.template for m in self.messages if m.thread.startswith(("team:", "esc:"))]

    @property
    def pins(self) -> list[Message]:
        return [m for m in self.messages if m.slot == "pin"]

    @property
    def told(self) -> list[str]:
        """What the visits were told."""
        facts = [m.fact for m in self.messages if m.way == "fact"]
        return [msgspec.json.decode(f).get("what", "gap") for f in facts]
