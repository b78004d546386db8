"""One decision being made: the visit as it changes, the events so far, what is to be said."""

from typing import Any

import msgspec

from bot.model.calls.event import CallEvent
from bot.model.calls.holder import Background
from bot.model.calls.sending import by_hook, by_mail
from bot.model.calls.state import Call
from bot.model.context import Context
from bot.model.decision import Decision
from bot.model.fact import AnyFact, Pressed, Said, Told
from bot.model.message import ANSWER, ESCALATION, Button, Message
from bot.model.people import mail_thread
from bot.model.policy import minutes
from bot.model.roster import Staff
from bot.model.subject import Subject, of_wave
from bot.model.visit.card import card
from bot.model.visit.event import AnyEvent, Asked, Replied, ThreadOpened
from bot.model.visit.evolve import evolve
from bot.model.visit.offers import offers
from bot.model.visit.parts import parts
from bot.model.visit.quiet import held_back, quiet
from bot.model.visit.state import Person, Visit

#: Messages with these keys answer words: they are noted, so that none is said twice running.
_REPLIES = frozenset(("prompt", "wait"))
#: Within so many milliseconds a clock time alone says which one is meant.
_SAME_DAY = minutes(12 * 60)


def _cautions_kept(
    kept: list[Message], all_of_them: list[Message], asked: dict[str, str]
) -> list[Message]:
    """What stood below a question that is not said stands below the one that is."""
    ids = {m.id for m in kept}
    lost = tuple(key for m in all_of_them if m.id not in ids for key in m.beside)
    if not lost:
        return kept
    return [
        msgspec.structs.replace(m, beside=(*lost, *m.beside)) if m.id in asked else m for m in kept
    ]


class Turn:
    """Collects the events of one decision and applies each at once, so what follows sees it."""

    def __init__(self, visit: Visit | None, fact: AnyFact, context: Context) -> None:
        self._visit = visit
        self.fact = fact
        self.context = context
        self.at = fact.received_at
        self.events: list[AnyEvent] = []
        self.messages: list[Message] = []
        self.answer = "ok"
        self._numbered = 0

    # --- the state so far ------------------------------------------------------------

    @property
    def visit(self) -> Visit:
        if self._visit is None:
            raise LookupError(f"{self.fact.subject} was never planned")
        return self._visit

    @property
    def known(self) -> bool:
        return self._visit is not None

    @property
    def calls(self) -> tuple[Call, ...]:
        return self.visit.calls

    @property
    def speaker(self) -> str:
        """The contact or deputy whose words or press this is; empty for all else."""
        if not isinstance(self.fact, Said | Pressed):
            return ""
        user = self.fact.actor.user
        return user if self.visit.person(user) is not None else ""

    def emit(self, event: AnyEvent) -> None:
        self._visit = evolve(self._visit, event, self.at)
        self.events.append(event)

    def emit_call(self, event: CallEvent) -> None:
        self.emit(event)

    def next_id(self, letter: str) -> str:
        return f"{letter}{self.visit.made + 1}"

    def background(self) -> Background:
        question = self.visit.question
        asked, since = (question.kind, question.asked_at) if question else ("", None)
        tried = f"tried_{self.visit.checks[-1]}" if self.visit.checks else ""
        return Background(asked, since, tried)

    def decision(self) -> Decision[Visit]:
        return Decision(self.visit, tuple(self.events), tuple(self._to_send()), self.answer)

    def _to_send(self) -> list[Message]:
        """All but questions that the same words answered already, and what a driver may not get."""
        asked = {ev.question.message: ev.question.id for ev in self.events if isinstance(ev, Asked)}
        still = self._visit.question.id if self._visit and self._visit.question else ""
        kept = [m for m in self.messages if asked.get(m.id, still) == still]
        kept = _cautions_kept(kept, self.messages, asked)
        if self._visit is not None and quiet(self._visit, self.context.book):
            return [m for m in kept if not held_back(m, self._visit)]
        return kept

    # --- words on their way ------------------------------------------------------------

    def asked_now(self, message: str) -> bool:
        """Whether the question that goes out as this message was put by this very decision."""
        return any(isinstance(ev, Asked) and ev.question.message == message for ev in self.events)

    def reword(self, message: str, template: str, **args: str | int) -> None:
        """Say the message of a question otherwise; its id, its buttons and its place stay."""
        for i, old in enumerate(self.messages):
            if old.id == message:
                new = old.args | {name: str(value) for name, value in args.items()}
                self.messages[i] = msgspec.structs.replace(old, template=template, args=new)

    # --- what calls ask of the visit (bot.model.calls) ---------------------------------

    def on_unanswered(self, call: Call) -> None:
        """Nobody took it: new starts are held, and the contact is told what that means."""
        self.tell_wave("unanswered", call=call.id)
        if call.cause == "danger":
            self.say("nobody_yet_danger", key="person")
        elif any(c.taken_by and c.operator in ("ack", "shelved") for c in self.visit.open_calls):
            return  # somebody of the team is at it, as the contact was told
        elif self.visit.state == "running" and self.visit.stopped_at is None:
            self.say("nobody_yet", key="person")

    def on_taken(self, call: Call, name: str) -> None:
        """The contact is told who comes, where they may be waiting for somebody."""
        waiting = self.visit.state == "running" or call.cause in ("danger", "help", "stop")
        if self.visit.thread and waiting and call.cause != "not_started":
            self.say("person_coming", who=name, key="person")

    def on_put_off(self, call: Call, name: str, until: int) -> None:
        """A contact who waits is told by when somebody writes."""
        if self.visit.state == "running" and call.blocks and self.visit.stopped_at is None:
            template = "person_later" if until - self.at < _SAME_DAY else "person_later_day"
            self.say(template, who=name, until=until, key="person")

    def on_closed(self, call: Call, reason: str, by: str) -> None:
        from bot.model.visit.settled import settled

        settled(self, call, reason, by)

    @property
    def link(self) -> str:
        """A reference to the visit's thread, for the arguments of a text."""
        return f"@t:w:{self.visit.wave}/site:{self.visit.id}"

    # --- saying ----------------------------------------------------------------------

    def say(
        self,
        template: str,
        *,
        buttons: tuple[Button, ...] = (),
        urgency: int = ANSWER,
        key: str = "",
        not_after: int | None = None,
        beside: tuple[str, ...] = (),
        **args: str | int,
    ) -> str:
        """Say something in the visit's thread, and below it the texts ``beside``; gives the
        message's id."""
        if not self.visit.thread:
            self.open_thread()
        if key in _REPLIES:
            self.emit(Replied(template))
        lang = self.visit.lang
        return self._send(
            thread=f"site:{self.visit.id}",
            template=template,
            buttons=buttons,
            urgency=urgency,
            key=key,
            not_after=not_after,
            beside=beside,
            lang=lang,
            args=self._args(lang, args),
        )

    def open_thread(self) -> None:
        """The root of the visit's thread: which site, and when."""
        self.emit(ThreadOpened())
        lang = self.visit.lang
        self._send(
            thread=f"site:{self.visit.id}",
            template="root",
            root=True,
            lang=lang,
            args=self._args(lang, {"start": self.visit.start}),
        )

    def say_to(
        self,
        person: Person,
        template: str,
        *,
        buttons: tuple[Button, ...] = (),
        **args: str | int,
    ) -> None:
        """Say something to one person of the site in a direct message."""
        lang = self.visit.lang_of(person)
        self._send(
            thread=f"user:{person.user}",
            template=template,
            buttons=buttons,
            lang=lang,
            args=self._args(lang, args),
        )

    def tell_staff(self, user: str, template: str, **args: str | int) -> None:
        """Say something about the visit to one person of the team, alone."""
        self._send(thread=f"user:{user}", template=template, args=self._args("en", args))

    def say_privately(self, user: str, template: str, call: Call) -> None:
        """Tell a member of the team what only they may read: names and numbers."""
        self._send(
            thread=f"user:{user}",
            template=template,
            urgency=ESCALATION,
            args=card(self.visit, call, self.context, self.at),
        )

    def note(self, template: str, **args: str | int) -> None:
        """One line for the team, in its channel."""
        self.offer(template, (), **args)

    def offer(self, template: str, buttons: tuple[Button, ...], **args: str | int) -> None:
        """One line for the team, with what can be done about it."""
        self._send(
            thread=f"team:{self.visit.id}",
            template=template,
            buttons=buttons,
            args=self._args("en", {**args, "link": f"@t:w:{self.visit.wave}/site:{self.visit.id}"}),
        )

    def post_call(
        self,
        call: Call,
        template: str,
        *,
        buttons: tuple[Button, ...] = (),
        root: bool = False,
        **args: str | int,
    ) -> str:
        """Post into the call's own thread in the escalation channel."""
        more = {name: str(value) for name, value in args.items()}
        return self._send(
            thread=f"esc:{self.visit.id}:{call.id}",
            template=template,
            buttons=(*buttons, *offers(self.visit, self.context.book, call, template)),
            urgency=ESCALATION,
            root=root,
            args=card(self.visit, call, self.context, self.at) | more,
        )

    def mail_call(self, call: Call, person: Staff, template: str) -> str:
        return self._send(
            template=template,
            args=card(self.visit, call, self.context, self.at),
            **by_mail(call, person),
        )

    def hook_call(self, call: Call, person: Staff, target: str, template: str) -> str:
        return self._send(
            template=template,
            args=card(self.visit, call, self.context, self.at),
            **by_hook(call, person, target, self.visit.id, self.at),
        )

    def mail_person(self, person: Person, template: str, **args: str | int) -> None:
        """Write to one person of the site by mail."""
        lang = self.visit.lang_of(person)
        self._send(
            way="mail",
            thread=mail_thread(person.key),
            template=template,
            lang=lang,
            args=self._args(lang, args),
        )

    def tell(self, target: Subject, what: str, **args: str) -> None:
        """Let another subject hear of this, by a follow-up fact that counts once."""
        told = Told(
            id=f"{self.fact.id}/{target}/{what}",
            subject=target,
            received_at=self.at,
            source=self.fact.subject,
            what=what,
            args=args,
        )
        self._send(
            way="fact", thread="relay", template="told", args={}, fact=msgspec.json.encode(told)
        )

    def tell_wave(self, what: str, **args: str) -> None:
        self.tell(of_wave(self.visit.wave), what, site=self.visit.id, **args)

    def index(self, kind: str, value: str) -> None:
        """Make the visit findable by serial, thread or user; a hint that can be rebuilt."""
        self._send(
            way="index",
            thread="relay",
            template="index",
            args={"kind": kind, "value": value, "subject": str(self.fact.subject)},
        )

    def _args(self, lang: str, args: dict[str, Any]) -> dict[str, str]:
        base = {
            "site": self.visit.site.name,
            "contact": f"@p:{self.visit.contact.key}:name",
        }
        given = {name: str(value) for name, value in args.items()}
        return {**parts(self.visit, self.context.book, lang), **base, **given}

    def _send(self, **fields: Any) -> str:
        self._numbered += 1
        message_id = f"{self.fact.subject}:{self.context.version + 1}:{self._numbered}"
        message = Message(id=message_id, tz=self.visit.site.tz, made_at=self.at, **fields)
        self.messages.append(message)
        return message_id
