"""What is kept aside: what fits nowhere, or is odd; and facts that failed.

Shown to the admins, one line each, with what could be done as buttons; nothing is done without one
of them. A registration that was kept only because the index of serials was behind is brought to
its visit when the index has caught up (`of_serial`).
"""

from typing import Any

import msgspec
from msgspec.structs import replace

from bot.model.context import Context
from bot.model.decision import Decision
from bot.model.event import Event
from bot.model.fact import AnyFact, Delivered, Pressed, Registered, Told, Undeliverable
from bot.model.message import ANSWER, Button, Message
from bot.model.serial import normal
from bot.model.subject import Subject, parse

_SHOWN = 200
_CHOICES = 3

UNKNOWN = "unknown serial"
CLOSED = "closed wave"
#: Told by visits: from outside the site's networks, came back after it was lost.
TOLD = ("outside", "flapping", "withdrawn")


class KeptAside(Event, frozen=True, tag="kept_aside"):
    """``choices`` are places where the unit may belong, each a ``Choice`` as text."""

    what: str  # UNKNOWN, CLOSED, one of TOLD, or "failed"
    serial: str = ""
    source: str = ""
    detail: str = ""
    choices: tuple[str, ...] = ()
    site: str = ""


class KeptSettled(Event, frozen=True, tag="kept_settled"):
    """A person decided about the item ``no``."""

    no: int
    verb: str
    by: str


class Item(msgspec.Struct, frozen=True, gc=False):
    at: int
    fact: str
    what: str
    serial: str = ""
    source: str = ""
    detail: str = ""
    no: int = 0  # how many were kept with it; its name on buttons
    choices: tuple[str, ...] = ()
    site: str = ""
    settled: str = ""  # what a person chose


class Kept(msgspec.Struct, frozen=True, gc=False):
    """The newest items; all of them are in the journal."""

    count: int = 0
    items: tuple[Item, ...] = ()


class Choice(msgspec.Struct, frozen=True, gc=False):
    """A visit, and its unit that would give way."""

    subject: Subject
    serial: str
    name: str

    def __str__(self) -> str:
        parts = (str(self.subject), self.serial, self.name)
        return "\t".join(" ".join(part.split()) for part in parts)

    @classmethod
    def parse(cls, text: str) -> "Choice":
        subject, serial, name = text.split("\t")
        return cls(parse(subject), serial, name)


def decide(kept: Kept | None, fact: AnyFact, context: Context) -> Decision[Kept]:
    """Keep ``fact``, or settle what was kept; that a message arrived changes nothing."""
    match fact:
        case Delivered() | Undeliverable():
            return Decision(kept or Kept(), answer="nothing")
        case Pressed():
            return _pressed(kept or Kept(), fact, context)
        case Registered():
            return _registered(kept, fact, context)
        case Told(what="not_done"):
            told = _message(fact, context, "kept_not_done", fact.args)
            return Decision(kept or Kept(), messages=(told,))
        case Told() if fact.what in TOLD:
            return _told(kept, fact, context)
    event = KeptAside("failed", detail=type(fact).__name__)
    return Decision(evolve(kept, event, fact.received_at, fact.id), (event,), answer="kept")


def _registered(kept: Kept | None, fact: Registered, context: Context) -> Decision[Kept]:
    """Nobody expects it, or its wave is over. A sign of life is worth one line, not a thousand."""
    what = CLOSED if fact.closed else UNKNOWN
    event = KeptAside(what, fact.serial, fact.source, fact.kind, fact.choices[:_CHOICES])
    known = _is_known(kept, event)
    if known and fact.kind in ("alive", "progress"):
        return Decision(kept or Kept(), answer="nothing")
    return _keep(kept, fact, context, event, told=not known)


def _told(kept: Kept | None, fact: Told, context: Context) -> Decision[Kept]:
    args = fact.args
    detail = "again" if args.get("again") else ""
    choices = tuple(args[key] for key in ("own", "other") if args.get(key))
    event = KeptAside(
        fact.what, args["serial"], args.get("source", ""), detail, choices, args.get("site", "")
    )
    return _keep(kept, fact, context, event, told=not _is_known(kept, event))


def _is_known(kept: Kept | None, event: KeptAside) -> bool:
    """Whether the admins were told of the same already."""
    wanted = (event.what, event.serial, event.source, event.site)
    return kept is not None and any(
        (i.what, i.serial, i.source, i.site) == wanted for i in kept.items
    )


def _keep(
    kept: Kept | None, fact: AnyFact, context: Context, event: KeptAside, *, told: bool
) -> Decision[Kept]:
    after = evolve(kept, event, fact.received_at, fact.id)
    notes = (_note(fact, context, after.items[-1]),) if told else ()
    return Decision(after, (event,), notes, answer="kept")


# --- what is said, and what may be done ---------------------------------------------------------


def _note(fact: AnyFact, context: Context, item: Item) -> Message:
    """One line for the admins in the team's channel, with what could be done."""
    choices = [Choice.parse(text) for text in item.choices]
    args = {"serial": item.serial, "source": item.source, "site": item.site}
    for number, choice in enumerate(choices, 1):
        args |= {f"site{number}": choice.name, f"serial{number}": choice.serial}
    template = {UNKNOWN: "kept_aside", CLOSED: "kept_closed"}.get(item.what, f"kept_{item.what}")
    if item.what == "outside" and len(choices) == 2:
        template = "kept_swapped"
    elif item.what == UNKNOWN and choices:
        template = "kept_aside_likely"
    buttons = tuple(Button(f"k:{item.no}:{verb}", label) for verb, label in verbs(item))
    return _message(fact, context, template, args, buttons)


def verbs(item: Item) -> list[tuple[str, str]]:
    """What may be done about it, and the label of each."""
    found: list[tuple[str, str]] = []
    if item.what == UNKNOWN:
        numbers = range(1, len(item.choices) + 1)
        found = [(f"assign{n}", f"b_kept_assign{n}") for n in numbers]
    elif item.what == CLOSED and item.choices:
        found = [("assign1", "b_kept_count")]
    elif item.what == "outside" and len(item.choices) == 2:
        found = [("swap", "b_kept_swap")]
    return [*found, ("ignore", "b_kept_ignore")]


def _message(
    fact: AnyFact,
    context: Context,
    template: str,
    args: dict[str, str],
    buttons: tuple[Button, ...] = (),
) -> Message:
    return Message(
        id=f"{fact.subject}:{context.version + 1}:1",
        thread="team:kept_aside",
        template=template,
        urgency=ANSWER,
        args={name: plain(value) for name, value in args.items()},
        buttons=buttons,
        made_at=fact.received_at,
    )


def plain(text: str) -> str:
    """What others sent, as an argument: one that looks like a reference stays text."""
    return f"@{text}" if text.startswith("@") else text


def _pressed(kept: Kept, fact: Pressed, context: Context) -> Decision[Kept]:
    """An admin decides; what others must do about it leaves as follow-up facts."""
    if not fact.actor.admin:
        return Decision(kept, answer="not_yours")
    mark, _, rest = fact.action.partition(":")
    number, _, verb = rest.partition(":")
    item = next((i for i in kept.items if str(i.no) == number), None)
    if mark != "k" or item is None or item.settled or verb not in dict(verbs(item)):
        return Decision(kept, answer="stale")
    event = KeptSettled(item.no, verb, fact.actor.user)
    after = evolve(kept, event, fact.received_at, fact.id)
    args = {
        "serial": item.serial,
        "who": context.roster.name(fact.actor.user),
        "site": "",
        "other": "",
    }
    told = _orders(item, verb, fact)
    names = [Choice.parse(text).name for text in item.choices]
    if verb == "swap":
        args |= {"site": names[0], "other": names[1]}
    elif verb != "ignore":
        args |= {"site": names[int(verb[-1]) - 1]}
    said = _message(fact, context, f"kept_done_{verb.rstrip('123')}", args)
    relayed = [
        Message(
            id=f"{fact.subject}:{context.version + 1}:{number}",
            way="fact",
            thread="relay",
            template="told",
            fact=msgspec.json.encode(one),
            made_at=fact.received_at,
        )
        for number, one in enumerate(told, 2)
    ]
    return Decision(after, (event,), (said, *relayed))


def _orders(item: Item, verb: str, fact: Pressed) -> list[Told]:
    """What the visits are told to do."""
    choices = [Choice.parse(text) for text in item.choices]
    common = {"by": fact.actor.user, "source": item.source}

    def tell(to: Choice, what: str, **args: str) -> Told:
        return Told(
            id=f"{fact.id}/{to.subject}",
            subject=to.subject,
            received_at=fact.received_at,
            source=fact.subject,
            what=what,
            args=common | args,
        )

    if verb.startswith("assign"):
        to = choices[int(verb[-1]) - 1]
        return [tell(to, "assigned", serial=item.serial, instead=to.serial, kind=item.detail)]
    if verb == "swap":
        own, other = choices
        return [
            tell(own, "swap", give=own.serial, take=other.serial, other=str(other.subject)),
            tell(other, "swap", give=other.serial, take=own.serial, other=str(own.subject)),
        ]
    return []


# --- the snapshot -----------------------------------------------------------------------------


def evolve(kept: Kept | None, event: KeptAside | KeptSettled, at: int, fact_id: str) -> Kept:
    before = kept or Kept()
    if isinstance(event, KeptSettled):
        changed = [replace(i, settled=event.verb) if i.no == event.no else i for i in before.items]
        return replace(before, items=tuple(changed))
    count = before.count + 1
    given: dict[str, Any] = {"no": count, "choices": event.choices, "site": event.site}
    item = Item(at, fact_id, event.what, event.serial, event.source, event.detail, **given)
    return replace(before, count=count, items=(*before.items, item)[-_SHOWN:])


def of_serial(kept: Kept, serial: str, since: int) -> list[Item]:
    """Registrations of a serial that were kept aside at ``since`` (ms) or later, oldest first."""
    wanted = normal(serial)
    return [
        item
        for item in kept.items
        if item.what == UNKNOWN
        and item.detail in ("registered", "lost")
        and item.at >= since
        and not item.settled
        and normal(item.serial) == wanted
    ]
