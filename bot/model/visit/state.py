"""The snapshot of a visit. Instants and lengths of time are milliseconds of wave time."""

from typing import Literal

import msgspec

from bot.model.calls.state import Call, find
from bot.model.runbook import AskKind

SCHEMA = 1

VisitState = Literal[
    "planned",  # known, nobody asked yet
    "held",  # a unit may not be installed like this; nobody is asked
    "invited",  # asked for the time
    "agreed",  # the contact said yes
    "running",  # the evening has begun
    "done",
    "rebook",  # needs another evening
]
UnitState = Literal["waiting", "held", "checked", "powered", "online", "lost"]


class Person(msgspec.Struct, frozen=True):
    """A site contact or deputy. ``key`` names their personal data, which lies elsewhere."""

    key: str
    user: str
    lang: str = "en"
    disabled: bool = False


class Unit(msgspec.Struct, frozen=True):
    serial: str  # as printed
    model: str
    version: str = ""  # empty: not known before the label is read
    state: UnitState = "waiting"
    registered_at: int | None = None  # never taken back
    lost_at: int | None = None
    power_cuts: int = 0
    accepted: bool = False  # a person let it be installed although it did not match
    watched_until: int | None = None  # its call was closed before it was online

    @property
    def online(self) -> bool:
        return self.registered_at is not None and self.lost_at is None


class Site(msgspec.Struct, frozen=True):
    """What the site list says of the place; all optional but the name."""

    name: str
    tz: str = "UTC"
    phone: str = ""
    address: str = ""
    link_type: str = ""
    circuit: str = ""
    carrier: str = ""
    fault_line: str = ""
    networks: tuple[str, ...] = ()
    depends: tuple[str, ...] = ()
    where: str = ""
    access: str = ""
    opening_hours: str = ""
    alarm_hours: str = ""


class Plan(msgspec.Struct, frozen=True):
    """What an import says of a visit."""

    site: Site
    units: tuple[Unit, ...]
    contact: Person
    start: int
    deputy: Person | None = None
    end: int | None = None  # end of the change window
    channel: int = 0  # which of the wave's channels carries it


class Question(msgspec.Struct, frozen=True):
    """The one open question. Its times count from ``asked_at``, its confirmed delivery."""

    id: str
    stage: str
    ask: str  # the runbook's ask, or one of our own (bot.model.visit.asks)
    kind: AskKind
    text: str  # catalogue key
    nudge: str
    message: str  # id of the outbox message
    made_at: int
    checkpoint: int
    window: int
    unit: str = ""
    answers: tuple[str, ...] = ()
    asked_at: int | None = None
    heard_at: int | None = None  # when the contact last reported on it
    nudge_at: int | None = None  # a checkpoint moved by the contact
    nudged: bool = False
    reported: bool = False  # the contact has said something that counts
    extra: int = 0  # time that did not count: we were away
    asked_back: int = 0
    deputy_asked: bool = False
    late: bool = False  # the window has passed; a call was raised

    @property
    def last(self) -> int | None:
        """When silence becomes a call; ``None`` while delivery is not confirmed."""
        return None if self.asked_at is None else self.asked_at + self.window + self.extra


class DangerAsk(msgspec.Struct, frozen=True):
    """Our question whether there is danger, asked because it was denied unasked."""

    id: str
    at: int
    again: int = 0


class Visit(msgspec.Struct, frozen=True, kw_only=True):
    schema: int = SCHEMA
    wave: str
    id: str  # site id
    site: Site
    contact: Person
    deputy: Person | None = None
    units: tuple[Unit, ...]
    start: int
    end: int | None = None
    channel: int = 0
    state: VisitState = "planned"
    planned_at: int = 0
    step: int = 0  # index into bot.model.visit.steps
    at_ask: int = 0  # how many of the stage's asks are settled
    begun_at: int | None = None
    agreed_end: int | None = None
    over_asked: bool = False
    question: Question | None = None
    thread: bool = False  # the visit's thread was opened (its root is in the outbox)
    stopped_at: int | None = None  # danger: only a person restarts
    danger_ask: DangerAsk | None = None  # open: the visit stands still until it is answered
    denied_under: str | None = None  # question at which danger was last denied; empty: at none
    enquired_at: int | None = None  # when the team asked about danger
    waits_hold: bool = False  # stands still because the wave is held
    waits_since: int | None = None
    paused_until: int | None = None
    counted_until: int | None = None  # our absence up to here has been added to all times
    link_down_at: int | None = None  # the line is down, as expected
    link_late: bool = False  # down for longer than expected; a call was raised
    checks: tuple[str, ...] = ()  # asks by which cable or lead were checked at this stage
    checked_at: int | None = None  # when the contact had done the last of them
    powered_at: int | None = None  # power on, or last power cut
    lights: tuple[tuple[int, str], ...] = ()  # what was seen when, newest last
    calls: tuple[Call, ...] = ()
    nudges: int = 0
    made: int = 0  # questions and calls made so far, for their ids
    callback: str = ""  # personal-data key of the words that give a number to call back
    callback_time: str = ""  # and of those that give the time, where they are others
    unsigned: bool = False  # the last question of a finished visit was never answered

    def unit(self, serial: str) -> Unit | None:
        return next((u for u in self.units if u.serial == serial), None)

    def call(self, call_id: str) -> Call | None:
        return find(self.calls, call_id)

    @property
    def open_calls(self) -> list[Call]:
        return [c for c in self.calls if c.open]

    @property
    def blocked(self) -> bool:
        asked = self.stopped_at is not None or self.danger_ask is not None
        return asked or any(c.blocks for c in self.calls)

    @property
    def live(self) -> bool:
        """Whether somebody still has something to do here."""
        return self.state not in ("done", "rebook") or bool(self.open_calls)

    @property
    def out_of_service(self) -> bool:
        return self.link_down_at is not None
