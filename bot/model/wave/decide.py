"""The wave decides: opening, holding and resuming, its summary, and who hears of it."""

from typing import Any

import msgspec
from msgspec.structs import replace

from bot.model.board import Board
from bot.model.calls.event import CallEvent
from bot.model.calls.holder import Background
from bot.model.calls.life import on_due, raise_call
from bot.model.calls.press import press
from bot.model.calls.sending import by_hook, by_mail
from bot.model.calls.state import Call
from bot.model.calls.ways import way_failed
from bot.model.context import Context
from bot.model.danger import find
from bot.model.decision import Decision
from bot.model.fact import (
    AnyFact,
    Due,
    Gap,
    Ordered,
    Planned,
    Pressed,
    Said,
    Told,
    Undeliverable,
)
from bot.model.message import BOARD, ESCALATION, Button, Message
from bot.model.policy import MINUTE
from bot.model.roster import Staff
from bot.model.subject import EVERY, of_visit
from bot.model.wave import handing_over
from bot.model.wave import state as w
from bot.model.wave.state import Wave, WaveEvent, WavePlan, evolve

#: What visits report that holds new starts at once.
_HOLDING = ("danger", "without_service", "unanswered")
_NAMED = (*_HOLDING, "ordered", "unstaffed", "untested")
_TRY_OPENING_AGAIN = 15 * MINUTE
_LOOK_AT_TESTS_AGAIN = 2 * MINUTE
#: States of visits that have their start before them, as people see them.
_TO_START = frozenset({"planned", "invited", "agreed", "waiting"})
#: Holds that end by themselves, when somebody can be woken again.
_NOBODY_TO_WAKE = {"unstaffed", "untested"}


class WaveTurn:
    """One decision of a wave being made (see ``bot.model.visit.turn.Turn``)."""

    def __init__(self, wave: Wave | None, fact: AnyFact, context: Context) -> None:
        self._wave = wave
        self.fact = fact
        self.context = context
        self.at = fact.received_at
        self.events: list[WaveEvent] = []
        self.messages: list[Message] = []
        self.answer = "ok"
        self.hold: bool | None = None

    @property
    def wave(self) -> Wave:
        if self._wave is None:
            raise LookupError(f"{self.fact.subject} was never planned")
        return self._wave

    @property
    def calls(self) -> tuple[Call, ...]:
        return self.wave.calls

    def emit(self, event: WaveEvent) -> None:
        self._wave = evolve(self._wave, event, self.at, self.fact.subject.wave)
        self.events.append(event)

    def emit_call(self, event: CallEvent) -> None:
        self.emit(event)

    def next_id(self, letter: str) -> str:
        return f"{letter}{self.wave.made + 1}"

    def send(self, **fields: Any) -> str:
        number = len(self.messages) + 1
        message_id = f"{self.fact.subject}:{self.context.version + 1}:{number}"
        self.messages.append(Message(id=message_id, made_at=self.at, **fields))
        return message_id

    def to_visits(self, fact: AnyFact) -> None:
        """One follow-up to every visit of the wave, each under an id of its own."""
        self.send(way="fact", thread="relay", template="told", fact=msgspec.json.encode(fact))

    def to_team(self, template: str, **args: str) -> None:
        """A note in the escalation channel, of the wave itself."""
        args = {"wave": self.wave.name, "now": str(self.at), **args}
        self.send(thread=f"team:{template}", template=template, urgency=ESCALATION, args=args)

    # --- what calls ask of a wave (bot.model.calls) --------------------------------------

    def background(self) -> Background:
        return Background()

    def post_call(
        self,
        call: Call,
        template: str,
        *,
        buttons: tuple[Button, ...] = (),
        root: bool = False,
        **args: str | int,
    ) -> str:
        more = {name: str(value) for name, value in args.items()}
        return self.send(
            thread=f"esc:{self.wave.name}:{call.id}",
            template=f"wave_{template}",
            buttons=buttons,
            urgency=ESCALATION,
            root=root,
            args=self.card(call) | more,
        )

    def mail_call(self, call: Call, person: Staff, template: str) -> str:
        sent = by_mail(call, person)
        return self.send(template=f"wave_{template}", args=self.card(call), **sent)

    def hook_call(self, call: Call, person: Staff, target: str, template: str) -> str:
        sent = by_hook(call, person, target, self.wave.name, self.at)
        return self.send(template=f"wave_{template}", args=self.card(call), **sent)

    def say_privately(self, user: str, template: str, call: Call) -> None:
        """A call of a wave holds no names or numbers that only one person may read."""

    def card(self, call: Call) -> dict[str, str]:
        return {
            "wave": self.wave.name,
            "now": str(self.at),
            "call": call.id,
            "cause": f"@x:cause_{call.cause}",
            "severity": f"@x:severity_{call.severity}",
            "seen": call.seen,
            "first_try": f"@x:try_{call.cause}",
        }

    def on_unanswered(self, _call: Call) -> None:
        hold(self, "unanswered")

    def on_taken(self, call: Call, name: str) -> None:
        """Nobody at a site waits for this answer."""

    def on_put_off(self, call: Call, name: str, until: int) -> None:
        """Nobody at a site waits for it."""

    def on_closed(self, call: Call, reason: str, by: str) -> None:
        """The hold stays until a person resumes the wave."""


def decide(wave: Wave | None, fact: AnyFact, context: Context) -> Decision[Wave] | None:
    if wave is None and not isinstance(fact, Planned):
        return None
    turn = WaveTurn(wave, fact, context)
    match fact:
        case Planned():
            _planned(turn, fact)
        case Ordered():
            _ordered(turn, fact)
        case Told():
            _told(turn, fact)
        case Due():
            _due(turn, fact)
        case Gap():
            _gap(turn, fact)
        case Said():
            _danger(turn, fact)
        case Pressed():
            _pressed(turn, fact)
        case Undeliverable():
            way_failed(turn, fact.message)
        case _:
            turn.answer = "nothing"
    return Decision(turn.wave, tuple(turn.events), tuple(turn.messages), turn.answer, turn.hold)


def deadlines(wave: Wave) -> dict[str, int]:
    due = {f"call:{call.id}": call.due for call in wave.calls if call.open}
    if wave.state == "planned":
        due["open"] = wave.opens_at
    if wave.pin_at is not None:
        due["pin"] = wave.pin_at
    if wave.handover_at is not None:
        due["handover"] = wave.handover_at
    return due


def _planned(turn: WaveTurn, fact: Planned) -> None:
    plan = msgspec.json.decode(fact.plan, type=WavePlan)
    turn.emit(w.WavePlanned(plan))
    if plan.staged:
        staged = Told(
            id=f"{fact.id}/staged",
            subject=of_visit(fact.subject.wave, EVERY),
            received_at=turn.at,
            source=fact.subject,
            what="staged",
            args={"staged": plan.staged},
        )
        turn.to_visits(staged)


def _ordered(turn: WaveTurn, fact: Ordered) -> None:
    if not fact.actor.admin:
        turn.answer = "not_yours"
    elif fact.order == "hold":
        hold(turn, fact.args.get("why", "ordered"), by=fact.actor.user)
    elif fact.order == "resume" and turn.context.reachable is False:
        turn.answer = "untested"
    elif fact.order == "resume":
        _resume(turn, fact.actor.user)
    elif fact.order == "close":
        turn.emit(w.WaveClosed())
    else:
        turn.answer = "unknown"


def hold(turn: WaveTurn, why: str, by: str = "") -> None:
    """Hold new starts; those past the interruption of service go on (the visits decide)."""
    already = turn.wave.held
    if why in turn.wave.holds:
        turn.answer = "nothing"
        return
    turn.emit(w.HoldSet(why, by))
    turn.hold = True
    template = "wave_held_untested" if why == "untested" else "wave_held"
    turn.to_team(template, why=f"@x:hold_{why}" if why in _NAMED else why)
    if not already:
        turn.to_visits(_told_visits(turn, "held"))


def _resume(turn: WaveTurn, by: str) -> None:
    if not turn.wave.held:
        turn.answer = "nothing"
        return
    turn.emit(w.HoldLifted(by))
    turn.hold = False
    turn.to_team("wave_resumed")
    turn.to_visits(_told_visits(turn, "resumed"))


def _told_visits(turn: WaveTurn, what: str) -> Told:
    subject = turn.fact.subject
    return Told(
        id=f"{turn.fact.id}/{what}",
        subject=of_visit(subject.wave, EVERY),
        received_at=turn.at,
        source=subject,
        what=what,
    )


def _told(turn: WaveTurn, fact: Told) -> None:
    if fact.what in _HOLDING:
        hold(turn, fact.what)
    if fact.what in ("new_date", "reopened") and turn.wave.state == "closed":
        turn.emit(w.Opened())  # one of its sites is not done after all
        _mornings(turn)
    if fact.what == "untested":
        _start_waits(turn)
    turn.emit(w.Noted(fact.what, fact.args.get("site", "")))


def _due(turn: WaveTurn, fact: Due) -> None:
    at = deadlines(turn.wave).get(fact.kind)
    if at is None or at > turn.at:
        turn.answer = "nothing"
        return
    kind, _, name = fact.kind.partition(":")
    if kind == "call":
        on_due(turn, name)
    elif kind == "open":
        _open(turn)
    elif kind == "handover":
        _handover(turn)
    else:
        _pin(turn)


def _open(turn: WaveTurn) -> None:
    """Open, unless the person on call could not be woken."""
    if not turn.context.may_open:
        turn.emit(w.OpeningPutOff(turn.at + _TRY_OPENING_AGAIN))
        hold(turn, "unstaffed")
        return
    if turn.context.reachable is False:
        turn.emit(w.OpeningPutOff(turn.at + _LOOK_AT_TESTS_AGAIN))
        hold(turn, "untested")
        return
    turn.emit(w.Opened())
    _mornings(turn)
    if turn.wave.held and set(turn.wave.holds) <= _NOBODY_TO_WAKE:
        _resume(turn, "")


def _mornings(turn: WaveTurn) -> None:
    """From now on there is a handover each morning."""
    event = handing_over.first(turn.wave, turn.context, turn.at)
    if event is not None:
        turn.emit(event)


def _handover(turn: WaveTurn) -> None:
    event, messages = handing_over.post(turn.wave, turn.context, turn.at)
    turn.emit(event)
    for message in messages:
        turn.send(**message)


def _look_at_tests(turn: WaveTurn, summary: Board | None) -> None:
    """While nobody on call has a tested way nothing new starts; it goes on when somebody has."""
    if turn.wave.state != "open":
        return
    if turn.context.reachable is False:
        if summary is None or _TO_START & set(summary.states):
            hold(turn, "untested")
    elif turn.wave.holds == ("untested",):
        _resume(turn, "")


def _start_waits(turn: WaveTurn) -> None:
    """A site waits to start for want of somebody to wake: until they confirm, or no longer."""
    if turn.context.reachable is False:
        hold(turn, "untested")
    elif not turn.wave.held:
        turn.to_visits(_told_visits(turn, "resumed"))


def _pin(turn: WaveTurn) -> None:
    """Renew the pinned summary if it would say something new; at most once a minute."""
    summary = turn.context.board
    _look_at_tests(turn, summary)
    args = pin_args(turn.wave, summary) if summary else {}
    if summary and _all_settled(turn.wave, summary):
        turn.emit(w.WaveClosed())
        args["state"] = "@x:wave_is_closed"
    text = msgspec.json.encode({k: v for k, v in args.items() if k != "now"}).decode()
    going = turn.wave.state == "open" or any(c.open for c in turn.wave.calls)
    next_at = turn.at + turn.context.policy.pin_every if going else None
    if text == turn.wave.pinned:
        turn.emit(w.PinSet(turn.wave.pin_rev, text, next_at))
        return
    rev = turn.wave.pin_rev + 1
    turn.emit(w.PinSet(rev, text, next_at))
    for number in range(len(turn.wave.channels)):
        turn.send(
            thread=f"wave:{number}",
            template="pin",
            slot="pin",
            rev=rev,
            urgency=BOARD,
            key="pin",
            root=True,
            args=args,
        )


def _all_settled(wave: Wave, board: Board) -> bool:
    """Every visit is done or has another evening, and no call is open."""
    return (
        wave.state == "open"
        and bool(board.states)
        and set(board.states) <= {"done", "rebook", "backed out"}
        and not board.calls
        and not any(c.open for c in wave.calls)
    )


def pin_args(wave: Wave, board: Board) -> dict[str, str]:
    """What the summary says, as arguments of its text."""
    late = ", ".join(f"{x.name} +{x.by // MINUTE} min" for x in board.late[:5])
    calls = ", ".join(f"{c.name} ({c.cause}, {c.operator})" for c in board.calls[:5])
    return {
        "wave": wave.name,
        "now": str(board.at),
        "state": "@x:wave_is_held" if wave.held else f"@x:wave_is_{wave.state}",
        "units": str(board.units),
        "online": str(board.online),
        "sites": str(board.sites),
        "registered": str(board.sites_registered),
        "checked": str(board.sites_checked),
        "soaked": str(board.sites_soaked),
        "watched": str(board.states.get("watched", 0)),
        "running": str(board.states.get("running", 0)),
        "agreed": str(board.states.get("agreed", 0)),
        "done": str(board.states.get("done", 0)),
        "stopped": str(board.stopped),
        "with_person": str(board.states.get("with a person", 0)),
        "rebook": str(board.states.get("rebook", 0)),
        "backed_out": str(board.states.get("backed out", 0)),
        "held": str(board.held),
        "out": str(board.out_of_service),
        "open_calls": str(len(board.calls)),
        "late": late or "@x:nobody",
        "calls": calls or "@x:none",
    }


def _gap(turn: WaveTurn, fact: Gap) -> None:
    """We were away: one message to the team, one follow-up to each visit."""
    told = turn.wave.away_until is not None and fact.since < turn.wave.away_until
    turn.emit(w.Away(fact.since, fact.until, fact.why))
    if turn.wave.state == "open" and not told:  # store and chat go together: one outage
        away = str(fact.until - fact.since)
        turn.to_team("outage", since=str(fact.since), away=away, why=f"@x:away_{fact.why}")
    turn.to_visits(replace(fact, id=f"{fact.id}/every", subject=of_visit(turn.wave.name, EVERY)))


def _danger(turn: WaveTurn, fact: Said) -> None:
    """Words of danger in the wave's channel, from someone tied to no visit."""
    words = "\n".join((fact.words, *fact.files))
    found = find(words, tuple(turn.context.lexicons.values()))
    team = fact.actor.oncall or fact.actor.admin
    if found is None or found.stance == "denied" or (team and found.stance == "asked"):
        turn.answer = "nothing"
        return
    hold(turn, "danger")
    turn.answer = "danger"
    open_before = {call.id for call in turn.calls}
    call = raise_call(turn, "danger", seen=f"<{fact.actor.user}>")
    if call.id in open_before:
        turn.post_call(call, "call_danger_again")


def _pressed(turn: WaveTurn, fact: Pressed) -> None:
    kind, _, rest = fact.action.partition(":")
    name, _, verb = rest.partition(":")
    turn.answer = press(turn, fact.actor, name, verb) if kind == "e" else "stale"
