"""What can happen to a visit. The journal holds these; ``evolve`` makes the snapshot of them."""

import msgspec

from bot.model.calls import event as calls
from bot.model.event import Event
from bot.model.visit import back_events as back
from bot.model.visit import course_events as course
from bot.model.visit import ready_events as ready
from bot.model.visit import spares_events as spares
from bot.model.visit.care_events import CareEvent
from bot.model.visit.handing_events import HandingEvent
from bot.model.visit.morning_events import MorningEvent
from bot.model.visit.page_events import PageEvent
from bot.model.visit.release import Released
from bot.model.visit.state import Plan, Question, UnitState, VisitState


class PlanSet(Event, frozen=True, tag="plan_set"):
    """A first plan, or a new one for a visit that is not under way."""

    plan: Plan
    wave: str
    id: str


class PlanAmended(Event, frozen=True, tag="plan_amended"):
    """A new plan for a visit under way: people and particulars only."""

    plan: Plan


class StateSet(Event, frozen=True, tag="state_set"):
    state: VisitState
    why: str = ""


class ThreadOpened(Event, frozen=True, tag="thread_opened"):
    """The root of the visit's thread went to the outbox."""


class Begun(Event, frozen=True, tag="begun"):
    agreed_end: int


class Entered(Event, frozen=True, tag="entered"):
    step: int
    stage: str
    unit: str = ""


class Asked(Event, frozen=True, tag="asked"):
    question: Question


class QuestionArrived(Event, frozen=True, tag="question_arrived"):
    """Delivery of the open question was confirmed: its times count from now.

    ``shown_at`` is the time in the platform's own stamp.
    """

    question: str
    stamp: str = ""
    shown_at: int | None = None


class Nudged(Event, frozen=True, tag="nudged"):
    question: str


class AskedBack(Event, frozen=True, tag="asked_back"):
    question: str


class DeputyAsked(Event, frozen=True, tag="deputy_asked"):
    question: str
    extra: int


class WindowPassed(Event, frozen=True, tag="window_passed"):
    """Nothing was heard within the window; from here the call's own deadline counts."""

    question: str


class Rearmed(Event, frozen=True, tag="rearmed"):
    """Somebody was heard after the window: the open question's times begin again."""

    question: str


class CheckpointMoved(Event, frozen=True, tag="checkpoint_moved"):
    """The next question comes at this instant."""

    at: int


class WindowExtended(Event, frozen=True, tag="window_extended"):
    """Time that does not count, because we were away."""

    extra: int
    why: str


class AwayCounted(Event, frozen=True, tag="away_counted"):
    """We were away until ``until``; ``link`` is what of it fell into the line's own window."""

    until: int
    link: int


class Heard(Event, frozen=True, tag="heard"):
    """Somebody said or pressed something, and what was understood."""

    user: str
    role: str
    kind: str
    rule: str = ""
    value: str = ""
    text: str = ""  # where the words themselves lie, among the personal data
    also: tuple[str, ...] = ()  # what else was understood in the same words
    how: str = ""  # see bot.model.visit.edges.How
    written_at: int | None = None  # of words in the thread: the platform's time, for their order


class Replied(Event, frozen=True, tag="replied"):
    """A line said in between, in answer to words: so that it is not said twice running."""

    template: str


class Puzzled(Event, frozen=True, tag="puzzled"):
    """The contact asked something back that we could not answer."""

    question: str


class Withdrawn(Event, frozen=True, tag="withdrawn"):
    """A message was deleted; what was said stays said. ``text`` as in ``Heard``."""

    user: str
    role: str
    text: str


class EditNoted(Event, frozen=True, tag="edit_noted"):
    """Who changed an older message was asked to say it anew; ``stamp`` names the message."""

    stamp: str


class StrangerHeard(Event, frozen=True, tag="stranger_heard"):
    """Somebody who does not belong to the site was told so, once."""

    user: str


class CameIn(Event, frozen=True, tag="came_in"):
    """Somebody of the site joined its channel late, and was told where things stand."""

    user: str


class PointedOut(Event, frozen=True, tag="pointed_out"):
    """Who wrote outside the thread was told where the answer is: once on this day."""

    user: str
    day: str


class QuestionClosed(Event, frozen=True, tag="question_closed"):
    question: str
    answer: str
    done: bool = True  # the runbook's ask is settled; False for asks of our own
    by: str = ""  # who of the site answered


class TakenBack(Event, frozen=True, tag="taken_back"):
    """The last answer does not hold: things stand as before it. ``doubted``: two differed."""

    question: str
    answer: str
    doubted: bool = False


class Ahead(Event, frozen=True, tag="ahead"):
    """The contact says that a unit has power before we asked for it."""

    serial: str


class LanguageSet(Event, frozen=True, tag="language_set"):
    user: str
    lang: str


class TakenOver(Event, frozen=True, tag="taken_over"):
    """A person of the team goes on themselves; we keep still until it is handed back."""

    by: str
    due: int


class TakenOverLong(Event, frozen=True, tag="taken_over_long"):
    """Nothing came of it for long: they were reminded."""

    due: int


class HandedBack(Event, frozen=True, tag="handed_back"):
    by: str


class AskSkipped(Event, frozen=True, tag="ask_skipped"):
    """An ask of the runbook that need not be put, because its answer is known."""

    ask: str


class Reported(Event, frozen=True, tag="reported"):
    """The contact reported on the open question without closing it."""


class LightSeen(Event, frozen=True, tag="light_seen"):
    pattern: str


class CheckAsked(Event, frozen=True, tag="check_asked"):
    """The contact was asked to press a cable or the lead home: once at each stage."""

    ask: str


class CheckDone(Event, frozen=True, tag="check_done"):
    """The contact has done the check; the unit now gets its time."""


class UnitChecked(Event, frozen=True, tag="unit_checked"):
    serial: str
    version: str = ""


class UnitAccepted(Event, frozen=True, tag="unit_accepted"):
    """A person of the team lets it be installed although something did not match."""

    serial: str
    by: str


class UnitWatched(Event, frozen=True, tag="unit_watched"):
    """Looked at again at ``until``, or no longer watched."""

    serial: str
    until: int | None


class UnitSet(Event, frozen=True, tag="unit_set"):
    serial: str
    state: UnitState
    why: str = ""


class PoweredOn(Event, frozen=True, tag="powered_on"):
    """``since`` where it was on before we asked for it."""

    serial: str
    since: int | None = None


class PowerLost(Event, frozen=True, tag="power_lost"):
    serial: str


class UnitOnline(Event, frozen=True, tag="unit_online"):
    """``detail`` is what came with the report, kept for the record."""

    serial: str
    source: str
    first: bool
    detail: dict[str, str] = msgspec.field(default_factory=dict)


class UnitLost(Event, frozen=True, tag="unit_lost"):
    serial: str
    source: str  # ours, ``silence``, where nothing was heard for too long
    detail: dict[str, str] = msgspec.field(default_factory=dict)


class UnitAlive(Event, frozen=True, tag="unit_alive"):
    """A sign of life within the soak time; silence is counted from it."""

    serial: str


class UnitProgress(Event, frozen=True, tag="unit_progress"):
    """A progress report of RFC 8572; ``moves`` when the open question's times count from it."""

    serial: str
    progress: str
    message: str = ""
    moves: bool = False


class UnitReplaced(Event, frozen=True, tag="unit_replaced"):
    """A person says that this visit has the unit ``new`` in place of ``serial``."""

    serial: str
    new: str
    by: str
    model: str = ""
    unread: bool = False  # nobody has read its version yet


class RegistrationNoted(Event, frozen=True, tag="registration_noted"):
    """A registration that changes nothing: the unit was online already, or never was ours."""

    serial: str
    kind: str
    detail: dict[str, str] = msgspec.field(default_factory=dict)


class Stopped(Event, frozen=True, tag="stopped"):
    """Danger. Nothing is asked any more until a person restarts the visit."""

    rule: str


class DangerEnquired(Event, frozen=True, tag="danger_enquired"):
    """A person of the team has asked the site whether there is danger."""

    by: str


class TeamAsked(Event, frozen=True, tag="team_asked"):
    """A person of the team has asked the site something; a short answer is for them."""

    by: str


class DangerAsked(Event, frozen=True, tag="danger_asked"):
    """We ask whether there is danger, since it was denied unasked; until then nothing goes on."""

    ask: str


class DangerAskedAgain(Event, frozen=True, tag="danger_asked_again"):
    """Something else was answered."""


class DangerDenied(Event, frozen=True, tag="danger_denied"):
    """There is none, the site says when asked; ``question`` is what was open, if anything."""

    question: str


class Restarted(Event, frozen=True, tag="restarted"):
    by: str


class HoldMet(Event, frozen=True, tag="hold_met"):
    """The wave is held and this visit stands still before it may go on."""


class HoldLeft(Event, frozen=True, tag="hold_left"):
    pass


class Paused(Event, frozen=True, tag="paused"):
    until: int


class Unpaused(Event, frozen=True, tag="unpaused"):
    pass


class LinkDown(Event, frozen=True, tag="link_down"):
    """The site's own line is off from here, as expected."""


class LinkOverdue(Event, frozen=True, tag="link_overdue"):
    """Down for longer than expected."""


class LinkBack(Event, frozen=True, tag="link_back"):
    pass


class OverAsked(Event, frozen=True, tag="over_asked"):
    pass


class EndMoved(Event, frozen=True, tag="end_moved"):
    until: int


class CallbackAgreed(Event, frozen=True, tag="callback_agreed"):
    """``text`` and ``time`` name words among the contact's personal data."""

    text: str
    time: str = ""


class AccountSet(Event, frozen=True, tag="account_set"):
    user: str
    disabled: bool


class AccountRenamed(Event, frozen=True, tag="account_renamed"):
    """A chat account has another name now; the name itself is personal data."""

    user: str


class VisitEnded(Event, frozen=True, tag="visit_ended"):
    signed: bool


class NotDelivered(Event, frozen=True, tag="not_delivered"):
    message: str
    why: str


class MessageArrived(Event, frozen=True, tag="message_arrived"):
    """A message other than the open question was delivered; kept for the record."""

    message: str
    template: str
    stamp: str = ""  # of one about the open question


AnyEvent = (
    PlanSet
    | PlanAmended
    | StateSet
    | ThreadOpened
    | Begun
    | Entered
    | Asked
    | QuestionArrived
    | Nudged
    | AskedBack
    | DeputyAsked
    | WindowPassed
    | Rearmed
    | CheckpointMoved
    | WindowExtended
    | AwayCounted
    | Heard
    | Replied
    | Puzzled
    | TakenBack
    | Ahead
    | LanguageSet
    | TakenOver
    | TakenOverLong
    | HandedBack
    | Withdrawn
    | EditNoted
    | StrangerHeard
    | PointedOut
    | CameIn
    | QuestionClosed
    | AskSkipped
    | Reported
    | LightSeen
    | CheckAsked
    | CheckDone
    | UnitChecked
    | UnitAccepted
    | UnitWatched
    | UnitSet
    | PoweredOn
    | PowerLost
    | UnitOnline
    | UnitLost
    | UnitAlive
    | UnitProgress
    | UnitReplaced
    | RegistrationNoted
    | Stopped
    | DangerEnquired
    | TeamAsked
    | DangerAsked
    | DangerAskedAgain
    | DangerDenied
    | Restarted
    | HoldMet
    | HoldLeft
    | Paused
    | Unpaused
    | LinkDown
    | LinkOverdue
    | LinkBack
    | OverAsked
    | EndMoved
    | CallbackAgreed
    | AccountSet
    | AccountRenamed
    | calls.CallEvent
    | course.CourseEvent
    | back.BackEvent
    | spares.SparesEvent
    | ready.ReadyEvent
    | PageEvent
    | HandingEvent
    | CareEvent
    | MorningEvent
    | Released
    | VisitEnded
    | NotDelivered
    | MessageArrived
)
