"""Snapshot and event give the next snapshot. Nothing is decided here."""
# ruff: noqa: ARG001, ARG005 - the rules of a table share one form, whether they need all of it

from collections.abc import Callable
from typing import Any, get_args

from msgspec.structs import replace

from bot.model.calls.event import CallEvent, Raised
from bot.model.calls.event import evolve as evolve_calls
from bot.model.event import Event
from bot.model.visit import (
    back_events,
    care_events,
    course_events,
    handing_events,
    morning_events,
    page_events,
    ready_events,
    spares_events,
)
from bot.model.visit import event as e
from bot.model.visit.ready import Ready, carried
from bot.model.visit.release import Release, Released
from bot.model.visit.state import (
    DangerAsk,
    Given,
    Helped,
    Question,
    Unit,
    UnitState,
    Visit,
)

_Rule = Callable[[Visit, Any, int], Visit]
_LIGHTS_KEPT = 12
_WORDS_KEPT = 2
#: What is kept of the lines said while a question is open.
_LINES_KEPT = 12
#: Stamps and names kept of each sort; older ones are of no use.
_MARKS_KEPT = 12


def evolve(visit: Visit | None, event: e.AnyEvent, at: int) -> Visit:
    """The visit after ``event`` at the instant ``at``.

    Raises ``LookupError`` for an event on a visit, unit or call that does not exist.
    """
    rule = _RULES.get(type(event))  # first: what most events have
    if rule is not None and visit is not None:
        return rule(visit, event, at)
    if isinstance(event, e.PlanSet):
        return _planned(visit, event, at)
    if visit is None:
        raise LookupError(f"{type(event).__name__} on a visit that was never planned")
    return _call(visit, event, at) if isinstance(event, CallEvent) else visit


def _planned(visit: Visit | None, event: e.PlanSet, at: int) -> Visit:
    plan = event.plan
    fresh = Visit(
        wave=event.wave,
        id=event.id,
        site=plan.site,
        contact=plan.contact,
        deputy=plan.deputy,
        units=plan.units,
        start=plan.start,
        end=plan.end,
        channel=plan.channel,
        planned_at=at,
        ready=carried(
            visit.ready if visit else Ready(),
            tuple([u.serial for u in plan.units]),
            bool(plan.site.ready),
        ),
    )
    if visit is None:
        return fresh
    return replace(
        fresh,
        units=plan.units if visit.back.out else _keeping_registrations(plan.units, visit.units),
        back=visit.back.renewed(),
        spares=visit.spares,
        link_down_at=visit.link_down_at,
        link_late=visit.link_late,
        thread=visit.thread,
        calls=visit.calls,
        made=visit.made,
        nudges=visit.nudges,
        stopped_at=visit.stopped_at,
        danger_ask=visit.danger_ask,
        channel=visit.channel,
        spoken=visit.spoken,
        said=visit.said,
        speaker=visit.speaker,
        replied=visit.replied,
        helped=_ended(visit.helped, at),
        page=visit.page,
    )


def _keeping_registrations(new: tuple[Unit, ...], old: tuple[Unit, ...]) -> tuple[Unit, ...]:
    """The new plan's units; that a unit registered is never taken back, planned or not."""
    registered = {u.serial: u for u in old if u.registered_at is not None}
    accepted = {(u.serial, u.model) for u in old if u.accepted}
    units = [
        registered.pop(u.serial, replace(u, accepted=(u.serial, u.model) in accepted)) for u in new
    ]
    return (*units, *registered.values())


def _amended(v: Visit, event: e.PlanAmended, at: int) -> Visit:
    plan = event.plan
    ready = v.ready
    if plan.site.ready:
        ready = replace(ready, listed=tuple([unit.serial for unit in plan.units]))
    return replace(
        v, site=plan.site, contact=plan.contact, deputy=plan.deputy, end=plan.end, ready=ready
    )


def _with_unit(visit: Visit, serial: str, change: Callable[[Unit], Unit]) -> Visit:
    if visit.unit(serial) is None:
        raise LookupError(f"visit {visit.id} has no unit {serial}")
    units = tuple(change(u) if u.serial == serial else u for u in visit.units)
    return replace(visit, units=units)


def _with_question(visit: Visit, **changes: Any) -> Visit:
    if visit.question is None:
        return visit
    question: Question = replace(visit.question, **changes)
    return replace(visit, question=question)


def _without_question(v: Visit) -> Visit:
    """Nothing is open any more; an agreed end that was being asked about is asked again."""
    asked = v.over_asked and not (v.question is not None and v.question.ask == "over")
    return replace(v, question=None, paused_until=None, over_asked=asked)


def _entered(v: Visit, event: e.Entered, at: int) -> Visit:
    return replace(
        _without_question(v),
        step=event.step,
        at_ask=0,
        checks=(),
        checked_at=None,
        lights=(),
        reports=(),
    )


def _begun(v: Visit, event: e.Begun, at: int) -> Visit:
    return replace(v, state="running", begun_at=at, agreed_end=event.agreed_end, over_asked=False)


def _asked(v: Visit, event: e.Asked, at: int) -> Visit:
    question = event.question
    return replace(v, question=question, made=v.made + 1, paused_until=None, replied=question.text)


def _closed(v: Visit, event: e.QuestionClosed, at: int) -> Visit:
    """The answer of somebody of the site is kept, with how things stood before it."""
    given = v.given
    if event.by and v.question is not None:
        given = Given(
            question=v.question,
            answer=event.answer,
            by=event.by,
            at=at,
            state=v.state,
            step=v.step,
            at_ask=v.at_ask,
            units=v.units,
            link_down_at=v.link_down_at,
            powered_at=v.powered_at,
            checks=v.checks,
            checked_at=v.checked_at,
            lights=v.lights,
            course=v.course,
            pressed=v.pressed,
        )
    return replace(v, question=None, at_ask=v.at_ask + event.done, paused_until=None, given=given)


def _taken_back(v: Visit, event: e.TakenBack, at: int) -> Visit:
    given = v.given
    if given is None:
        return v
    return replace(
        _without_question(v),
        state=given.state,
        step=given.step,
        at_ask=given.at_ask,
        units=tuple(_as_before(unit, given.units) for unit in v.units),
        link_down_at=given.link_down_at,
        powered_at=given.powered_at,
        checks=given.checks,
        checked_at=given.checked_at,
        lights=given.lights,
        course=given.course,
        given=None,
        doubted=given.question.place if event.doubted else v.doubted,
    )


def _as_before(unit: Unit, before: tuple[Unit, ...]) -> Unit:
    """What the answer had said of the unit; what the unit itself has shown stays."""
    old = next((u for u in before if u.serial == unit.serial), unit)
    if unit.registered_at is not None:
        return unit
    return replace(unit, state=old.state, version=old.version)


def _heard(v: Visit, event: e.Heard, at: int) -> Visit:
    if event.role not in ("contact", "deputy"):
        return v
    private = "number" in (event.kind, *event.also) or (
        v.question is not None and v.question.kind == "callback"
    )
    said = v.said if private or not event.text else (*v.said, event.text)[-_WORDS_KEPT:]
    joined = v.joined
    if v.state == "running" and event.user not in joined:
        joined = (*joined, event.user)
    given = v.given
    if given is not None and event.how == "repeated":
        given = replace(given, repeated=True)
    return replace(
        _in_order(v, event),
        speaker=event.user,
        pressed=event.kind == "press",
        said=said,
        joined=joined,
        given=given,
        team_asked_at=None,
    )


def _deputy_asked(v: Visit, event: e.DeputyAsked, at: int) -> Visit:
    """The deputy is told at once where we are, and need not be told again."""
    extra = (v.question.extra if v.question else 0) + event.extra
    joined = v.joined
    if v.deputy is not None and v.deputy.user not in joined:
        joined = (*joined, v.deputy.user)
    return replace(_with_question(v, deputy_asked=True, extra=extra), joined=joined)


def _replied(v: Visit, event: e.Replied, at: int) -> Visit:
    lines = v.question.lines if v.question else ()
    if event.template not in lines:
        lines = (*lines, event.template)[-_LINES_KEPT:]
    return replace(_with_question(v, lines=lines), replied=event.template)


def _language(v: Visit, event: e.LanguageSet, at: int) -> Visit:
    return replace(v, spoken=tuple((dict(v.spoken) | {event.user: event.lang}).items()))


def _taken_over(v: Visit, event: e.TakenOver, at: int) -> Visit:
    helped = (*_ended(v.helped, at), Helped(event.by, at))
    return replace(
        _without_question(v),
        helper=event.by,
        helper_due=event.due,
        helper_reminded=False,
        helped=helped,
    )


def _handed_back(v: Visit, at: int) -> Visit:
    return replace(v, helper="", helper_due=None, helped=_ended(v.helped, at))


def _ended(helped: tuple[Helped, ...], at: int) -> tuple[Helped, ...]:
    return tuple(h if h.until is not None else replace(h, until=at) for h in helped)


def _light(v: Visit, event: e.LightSeen, at: int) -> Visit:
    if v.question is not None and v.question.kind == "light":
        v = _with_question(v, asked_back=0)  # understood: what comes next is asked back anew
    return replace(v, lights=(*v.lights, (at, event.pattern))[-_LIGHTS_KEPT:])


def _checked(v: Visit, event: e.UnitChecked, at: int) -> Visit:
    def change(unit: Unit) -> Unit:
        version = event.version or unit.version
        known = unit.state == "waiting" or (unit.state == "held" and bool(version))
        return replace(unit, version=version, state="checked" if known else unit.state)

    return _with_unit(v, event.serial, change)


def _powered(v: Visit, event: e.PoweredOn, at: int) -> Visit:
    powered = _with_unit(
        v,
        event.serial,
        lambda u: u if u.registered_at is not None else replace(u, state="powered"),
    )
    return replace(powered, powered_at=at if event.since is None else event.since)


def _power_lost(v: Visit, event: e.PowerLost, at: int) -> Visit:
    cut = _with_unit(v, event.serial, lambda u: replace(u, power_cuts=u.power_cuts + 1))
    return replace(cut, powered_at=at)


def _online(v: Visit, event: e.UnitOnline, at: int) -> Visit:
    def change(unit: Unit) -> Unit:
        first = at if unit.registered_at is None else unit.registered_at
        flaps = unit.flaps + (unit.lost_at is not None)
        return replace(
            unit,
            state="online",
            registered_at=first,
            lost_at=None,
            watched_until=None,
            flaps=flaps,
            back_at=unit.back_at if unit.registered_at is None else at,
        )

    return _with_unit(v, event.serial, change)


def _lost(v: Visit, event: e.UnitLost, at: int) -> Visit:
    return _with_unit(v, event.serial, lambda u: replace(u, state="lost", lost_at=at))


def _progress(v: Visit, event: e.UnitProgress, at: int) -> Visit:
    known = _with_unit(v, event.serial, lambda u: replace(u, progress=event.progress))
    return replace(known, reports=(*v.reports, event.progress)) if event.moves else known


def _replaced(v: Visit, event: e.UnitReplaced, at: int) -> Visit:
    """The place in the visit stays: its question and its open calls are of the new unit now."""

    def change(unit: Unit) -> Unit:
        version = "" if event.unread else unit.version
        return Unit(event.new, event.model or unit.model, version, _fresh(unit.state))

    after = _with_unit(v, event.serial, change)
    if after.question is not None and after.question.unit == event.serial:
        after = _with_question(after, unit=event.new)
    calls = tuple(
        replace(c, unit=event.new) if c.open and c.unit == event.serial else c for c in after.calls
    )
    return replace(after, calls=calls)


def _fresh(state: UnitState) -> UnitState:
    return "powered" if state in ("online", "lost") else state


def _restarted(v: Visit, event: e.Restarted, at: int) -> Visit:
    return replace(v, stopped_at=None)


def _stopped(v: Visit, event: e.Stopped, at: int) -> Visit:
    since = at if v.stopped_at is None else v.stopped_at
    return replace(_without_question(v), stopped_at=since, danger_ask=None)


def _danger_asked(v: Visit, event: e.DangerAsked, at: int) -> Visit:
    return replace(v, danger_ask=DangerAsk(event.ask, at), made=v.made + 1)


def _danger_asked_again(v: Visit, event: e.DangerAskedAgain, at: int) -> Visit:
    ask = v.danger_ask
    return v if ask is None else replace(v, danger_ask=replace(ask, again=ask.again + 1))


def _danger_denied(v: Visit, event: e.DangerDenied, at: int) -> Visit:
    return replace(v, danger_ask=None, denied_under=event.question, enquired_at=None)


def _state(v: Visit, event: e.StateSet, at: int) -> Visit:
    if event.state in ("rebook", "held"):
        return replace(
            _handed_back(v, at),
            state=event.state,
            question=None,
            danger_ask=None,
            paused_until=None,
            waits_hold=False,
            waits_since=None,
            units=tuple(replace(u, watched_until=None) for u in v.units),
        )
    return replace(v, state=event.state)


def _call(v: Visit, event: CallEvent, at: int) -> Visit:
    after = replace(v, calls=evolve_calls(v.calls, event, at))
    if not isinstance(event, Raised):
        return after
    if not event.call.blocks:
        return replace(after, made=v.made + 1)
    return replace(_without_question(after), made=v.made + 1, danger_ask=None)


def _unheld(unit: Unit) -> UnitState:
    return "waiting" if unit.state == "held" else unit.state


def _extended(v: Visit, event: e.WindowExtended, at: int) -> Visit:
    """A checkpoint the contact moved shifts too, so that it is not due at once."""
    question = v.question
    if question is None:
        return v
    promised = question.heard_at is not None and question.heard_at >= at
    moved = question.nudge_at
    if moved is not None and not promised:  # what was promised after we came back stands
        moved += event.extra
    return _with_question(v, extra=question.extra + event.extra, nudge_at=moved)


def _account(v: Visit, event: e.AccountSet, at: int) -> Visit:
    contact, deputy = v.contact, v.deputy
    if contact.user == event.user:
        contact = replace(contact, disabled=event.disabled)
    if deputy is not None and deputy.user == event.user:
        deputy = replace(deputy, disabled=event.disabled)
    return replace(v, contact=contact, deputy=deputy)


def _in_order(v: Visit, event: e.Heard) -> Visit:
    """How many messages without words there were in a row, and how new the newest words are."""
    unread = v.unread + 1 if event.how == "unread" else 0
    if event.written_at is None:
        return replace(v, unread=unread)
    newest = dict(v.written)
    newest[event.user] = max(event.written_at, newest.get(event.user, 0))
    return replace(v, unread=unread, written=tuple(sorted(newest.items())))


def _arrived(v: Visit, event: e.QuestionArrived, at: int) -> Visit:
    stamps = (event.stamp,) if event.stamp else ()
    return _with_question(v, asked_at=at, shown_at=event.shown_at, stamps=stamps)


def _said_again(v: Visit, event: e.MessageArrived, at: int) -> Visit:
    if not event.stamp or v.question is None:
        return v
    return _with_question(v, stamps=_kept(v.question.stamps, event.stamp))


def _kept(some: tuple[str, ...], one: str) -> tuple[str, ...]:
    return (*some, one)[-_MARKS_KEPT:]


_RULES: dict[type[Event], _Rule] = {
    e.PlanAmended: _amended,
    e.StateSet: _state,
    e.ThreadOpened: lambda v, _, at: replace(v, thread=True),
    e.Begun: _begun,
    e.Entered: _entered,
    e.Asked: _asked,
    e.QuestionArrived: _arrived,
    e.MessageArrived: _said_again,
    e.EditNoted: lambda v, ev, at: replace(v, edits=_kept(v.edits, ev.stamp)),
    e.StrangerHeard: lambda v, ev, at: replace(v, strangers=_kept(v.strangers, ev.user)),
    e.CameIn: lambda v, ev, at: replace(v, joined=(*v.joined, ev.user)),
    e.PointedOut: lambda v, ev, at: replace(v, pointed=_kept(v.pointed, f"{ev.user}/{ev.day}")),
    e.Nudged: lambda v, _, at: replace(
        _with_question(v, nudged=True),
        nudges=v.nudges + 1,
        replied=v.question.nudge if v.question else v.replied,
    ),
    e.WindowPassed: lambda v, _, at: _with_question(v, late=True),
    e.AskedBack: lambda v, _, at: _with_question(
        v, asked_back=(v.question.asked_back + 1 if v.question else 0)
    ),
    e.DeputyAsked: _deputy_asked,
    e.Rearmed: lambda v, _, at: _with_question(
        v, asked_at=at, extra=0, nudge_at=None, nudged=False, late=False, deputy_asked=False
    ),
    e.CheckpointMoved: lambda v, ev, at: _with_question(
        v, nudge_at=ev.at, nudged=False, reported=False, heard_at=at
    ),
    e.WindowExtended: _extended,
    e.AwayCounted: lambda v, ev, at: replace(
        v,
        counted_until=max(ev.until, v.counted_until or 0),
        link_down_at=None if v.link_down_at is None else v.link_down_at + ev.link,
    ),
    e.Heard: _heard,
    e.Replied: _replied,
    e.Puzzled: lambda v, _, at: _with_question(
        v, puzzled=(v.question.puzzled + 1 if v.question else 0)
    ),
    e.QuestionClosed: _closed,
    e.TakenBack: _taken_back,
    e.Ahead: lambda v, ev, at: replace(v, ahead=(*v.ahead, (ev.serial, at))),
    e.LanguageSet: _language,
    e.TakenOver: _taken_over,
    e.TakenOverLong: lambda v, ev, at: replace(v, helper_due=ev.due, helper_reminded=True),
    e.HandedBack: lambda v, _, at: _handed_back(v, at),
    e.AskSkipped: lambda v, _, at: replace(v, at_ask=v.at_ask + 1),
    e.Reported: lambda v, _, at: _with_question(v, reported=True, heard_at=at),
    e.LightSeen: _light,
    e.CheckAsked: lambda v, ev, at: replace(v, checks=(*v.checks, ev.ask), checked_at=None),
    e.CheckDone: lambda v, _, at: replace(v, checked_at=at),
    e.UnitChecked: _checked,
    e.UnitAccepted: lambda v, ev, at: _with_unit(
        v, ev.serial, lambda u: replace(u, accepted=True, state=_unheld(u))
    ),
    e.UnitWatched: lambda v, ev, at: _with_unit(
        v, ev.serial, lambda u: replace(u, watched_until=ev.until)
    ),
    e.UnitSet: lambda v, ev, at: _with_unit(v, ev.serial, lambda u: replace(u, state=ev.state)),
    e.PoweredOn: _powered,
    e.PowerLost: _power_lost,
    e.UnitOnline: _online,
    e.UnitLost: _lost,
    e.UnitAlive: lambda v, ev, at: _with_unit(v, ev.serial, lambda u: replace(u, alive_at=at)),
    e.UnitProgress: _progress,
    e.UnitReplaced: _replaced,
    e.Stopped: _stopped,
    e.DangerEnquired: lambda v, _, at: replace(v, enquired_at=at),
    e.TeamAsked: lambda v, _, at: replace(v, team_asked_at=at),
    e.DangerAsked: _danger_asked,
    e.DangerAskedAgain: _danger_asked_again,
    e.DangerDenied: _danger_denied,
    e.Restarted: _restarted,
    e.HoldMet: lambda v, _, at: replace(_without_question(v), waits_hold=True, waits_since=at),
    e.HoldLeft: lambda v, _, at: replace(v, waits_hold=False, waits_since=None),
    e.Paused: lambda v, ev, at: replace(v, paused_until=ev.until),
    e.Unpaused: lambda v, _, at: replace(v, paused_until=None),
    e.LinkDown: lambda v, _, at: replace(
        v, link_down_at=at if v.link_down_at is None else v.link_down_at
    ),
    e.LinkOverdue: lambda v, _, at: replace(v, link_late=True),
    e.LinkBack: lambda v, _, at: replace(v, link_down_at=None, link_late=False),
    e.OverAsked: lambda v, _, at: replace(v, over_asked=True),
    e.EndMoved: lambda v, ev, at: replace(v, agreed_end=ev.until, over_asked=False),
    e.CallbackAgreed: lambda v, ev, at: replace(v, callback=ev.text, callback_time=ev.time),
    e.AccountSet: _account,
    Released: lambda v, ev, at: replace(v, release=Release(at, ev.by, ev.until)),
    e.VisitEnded: lambda v, ev, at: replace(
        _handed_back(v, at),
        state="done",
        question=None,
        unsigned=not ev.signed,
        paused_until=None,
    ),
}

#: The parts of a visit that have events of their own, and what each makes of them.
_PARTS: tuple[tuple[Any, _Rule], ...] = (
    (back_events.BackEvent, back_events.apply),
    (care_events.CareEvent, care_events.apply),
    (course_events.CourseEvent, course_events.apply),
    (handing_events.HandingEvent, handing_events.evolve),
    (morning_events.MorningEvent, morning_events.evolve),
    (page_events.PageEvent, page_events.apply),
    (ready_events.ReadyEvent, ready_events.apply),
    (spares_events.SparesEvent, spares_events.apply),
)
for _kinds, _rule in _PARTS:
    _RULES |= dict.fromkeys(get_args(_kinds) or (_kinds,), _rule)
