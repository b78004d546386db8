"""The snapshot of a visit. Instants and lengths of time are milliseconds of wave time."""

from typing import Literal

import msgspec

from bot.model.calls.state import Call, find
from bot.model.runbook import AskKind
from bot.model.visit.back_state import Back
from bot.model.visit.care_state import Care
from bot.model.visit.course import Course
from bot.model.visit.handing import Handing
from bot.model.visit.morning import Morning
from bot.model.visit.page_events import Page
from bot.model.visit.ready import Ready
from bot.model.visit.release import Release
from bot.model.visit.spares_state import Spares

SCHEMA = 1

VisitState = Literal[
    "planned",  # known, nobody asked yet
    "held",  # a unit may not be installed like this; nobody is asked
    "invited",  # asked for the time
    "agreed",  # the contact said yes
    "running",  # the evening has begun
    "watched",  # nobody is asked any more; units and soak are watched, then it is done
    "done",
    "rebook",  # needs another evening
    "backed_out",  # the old unit works again; needs another evening
]
UnitState = Literal["waiting", "held", "checked", "powered", "online", "lost"]


class Person(msgspec.Struct, frozen=True, gc=False, omit_defaults=True):
    """A site contact or deputy. ``key`` names their personal data, which lies elsewhere."""

    key: str
    user: str
    lang: str = "en"
    disabled: bool = False


class Unit(msgspec.Struct, frozen=True, gc=False, omit_defaults=True):
    serial: str  # as printed
    model: str
    version: str = ""  # empty: not known before the label is read
    state: UnitState = "waiting"
    registered_at: int | None = None  # never taken back
    lost_at: int | None = None
    power_cuts: int = 0
    accepted: bool = False  # a person let it be installed although it did not match
    watched_until: int | None = None  # its call was closed before it was online
    alive_at: int | None = None  # last sign of life after it was online, if it gives any
    flaps: int = 0  # how often it came back after it was lost
    progress: str = ""  # its last progress report (RFC 8572)
    back_at: int | None = None  # when it last came back after it was lost

    @property
    def online(self) -> bool:
        return self.registered_at is not None and self.lost_at is None


class Site(msgspec.Struct, frozen=True, gc=False, omit_defaults=True):
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
    ready: tuple[str, ...] = ()  # what the list says is settled (bot.model.runbook_ready.Item)
    vehicle: bool = False  # a mobile branch
    cables: tuple[str, ...] = ()  # those that move from the old unit to the new one, by name
    checks: tuple[str, ...] = ()  # what the site lives on and is tried in the end


class Plan(msgspec.Struct, frozen=True, gc=False, omit_defaults=True):
    """What an import says of a visit."""

    site: Site
    units: tuple[Unit, ...]
    contact: Person
    start: int
    deputy: Person | None = None
    end: int | None = None  # end of the change window
    channel: int = 0  # which of the wave's channels carries it


class Question(msgspec.Struct, frozen=True, gc=False, omit_defaults=True):
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
    item: str = ""  # the cable or check of the site list that it is about
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
    lines: tuple[str, ...] = ()  # texts said in between, while it is open
    puzzled: int = 0  # questions back that could not be answered

    @property
    def place(self) -> str:
        """Which question it is, however often it is put."""
        return f"{self.stage}:{self.ask}:{self.unit or self.item}"

    shown_at: int | None = None  # the time in the platform's stamp of it
    stamps: tuple[str, ...] = ()  # of the messages that put it and asked about it again

    @property
    def last(self) -> int | None:
        """When silence becomes a call; ``None`` while delivery is not confirmed."""
        return None if self.asked_at is None else self.asked_at + self.window + self.extra


class DangerAsk(msgspec.Struct, frozen=True, gc=False, omit_defaults=True):
    """Our question whether there is danger, asked because it was denied unasked."""

    id: str
    at: int
    again: int = 0


class Given(msgspec.Struct, frozen=True, gc=False, kw_only=True, omit_defaults=True):
    """The last answer of the site, and how things stood before it: it may be taken back."""

    question: Question
    answer: str
    by: str
    at: int
    state: VisitState
    step: int
    at_ask: int
    units: tuple[Unit, ...]
    link_down_at: int | None = None
    powered_at: int | None = None
    checks: tuple[str, ...] = ()
    checked_at: int | None = None
    lights: tuple[tuple[int, str], ...] = ()
    course: Course = Course()
    pressed: bool = False  # by a button
    repeated: bool = False  # sent once more, at once, and passed over


class Helped(msgspec.Struct, frozen=True, gc=False, omit_defaults=True):
    """A person of the team had the conversation themselves; ``until`` is open while they do."""

    by: str
    since: int
    until: int | None = None


class Visit(msgspec.Struct, frozen=True, gc=False, kw_only=True, omit_defaults=True):
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
    team_asked_at: int | None = None  # when the team asked anything, until the site is heard
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
    reports: tuple[str, ...] = ()  # progress types that moved the times of this stage
    made: int = 0  # questions and calls made so far, for their ids
    callback: str = ""  # personal-data key of the words that give a number to call back
    callback_time: str = ""  # and of those that give the time, where they are others
    unsigned: bool = False  # the last question of a finished visit was never answered
    given: Given | None = None  # the last answer, while it may still be taken back
    doubted: str = ""  # the question that was put again because two people differed
    replied: str = ""  # the text said last in the visit's thread, as far as it matters
    speaker: str = ""  # who of the site was heard last
    pressed: bool = False  # and whether by a button
    joined: tuple[str, ...] = ()  # who of the site was heard since the evening began
    spoken: tuple[tuple[str, str], ...] = ()  # languages asked for: user, language
    said: tuple[str, ...] = ()  # where the last words of the site lie, among the personal data
    ahead: tuple[tuple[str, int], ...] = ()  # units said to be on before we asked for it: when
    helper: str = ""  # who of the team has taken over without a call
    helper_due: int | None = None  # when they are reminded
    helper_reminded: bool = False
    helped: tuple[Helped, ...] = ()
    written: tuple[tuple[str, int], ...] = ()  # by user: the platform's time of the newest words
    edits: tuple[str, ...] = ()  # stamps of edited messages that were answered as such
    strangers: tuple[str, ...] = ()  # users who were told that they are not asked here
    pointed: tuple[str, ...] = ()  # USER/DAY who was told where the answers are
    unread: int = 0  # messages without words in a row
    page: Page = Page()
    ready: Ready = Ready()
    handing: Handing = Handing()  # being passed on to another person of the site
    back: Back = Back()
    care: Care = Care()
    release: Release = Release()  # the contact was let go before the walk was over
    morning: Morning = Morning()  # whether everything works on the morning after
    course: Course = Course()
    spares: Spares = Spares()

    @property
    def serials(self) -> tuple[str, ...]:
        return tuple([unit.serial for unit in self.units])

    def unit(self, serial: str) -> Unit | None:
        for unit in self.units:
            if unit.serial == serial:
                return unit
        return None

    def call(self, call_id: str) -> Call | None:
        return find(self.calls, call_id)

    @property
    def open_calls(self) -> list[Call]:
        return [c for c in self.calls if c.open]

    @property
    def in_danger(self) -> bool:
        """Whether it is stopped for danger, or the question whether there is any is open."""
        return self.stopped_at is not None or self.danger_ask is not None

    @property
    def blocked(self) -> bool:
        return self.in_danger or bool(self.helper) or any(c.blocks for c in self.calls)

    @property
    def with_person(self) -> bool:
        """Whether somebody of the team talks to the contact, so that we keep still."""
        taken = (c for c in self.calls if c.operator in ("ack", "shelved"))
        return bool(self.helper) or any(c.blocks for c in taken)

    def person(self, user: str) -> Person | None:
        """The contact or deputy of that chat account."""
        people = (self.contact, self.deputy)
        return next((p for p in people if p is not None and p.user == user), None)

    def lang_of(self, person: Person) -> str:
        """The language a person asked for, or else the import's."""
        return dict(self.spoken).get(person.user, person.lang)

    @property
    def lang(self) -> str:
        """The language of the thread: that of whoever of the site was heard last."""
        return self.lang_of(self.person(self.speaker) or self.contact)

    @property
    def live(self) -> bool:
        """Whether somebody still has something to do here."""
        return self.state not in ("done", "rebook", "backed_out") or bool(self.open_calls)

    @property
    def out_of_service(self) -> bool:
        return self.link_down_at is not None
