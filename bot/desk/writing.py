"""From a decision to what the store writes."""

from typing import Any

import msgspec

from bot.desk.mirror import page_thread, thread_of
from bot.model.decision import Decision
from bot.model.event import Event
from bot.model.fact import AnyFact, Delivered, Due, Registered, Undeliverable
from bot.model.visit.event import Stopped
from bot.model.visit.tally import difference
from bot.store.commit import ANY, Commit, Loaded, Settle

_encode = msgspec.json.Encoder().encode


#: Version of the form of events in the journal. Older ones are lifted on reading.
EVENT_SCHEMA = 1


class Entry(msgspec.Struct, frozen=True, gc=False):
    """One line of the journal: what happened, when, and which kind of fact led to it."""

    at: int
    why: str
    event: Any
    schema: int = EVENT_SCHEMA


class Draft(msgspec.Struct, frozen=True, gc=False):
    """A decision with the deadlines and counters before and after it."""

    decision: Decision[Any]
    before: dict[str, int] = {}
    after: dict[str, int] = {}
    had: dict[str, int] = {}
    has: dict[str, int] = {}
    unchanged: bool = False  # the snapshot is the one that was read

    @classmethod
    def of(cls, after: Any, events: tuple[Event, ...], answer: str, had: dict[str, int]) -> "Draft":
        return cls(Decision(after, events, answer=answer), had=had, has=had)


def commit_of(fact: AnyFact, loaded: Loaded, draft: Draft) -> Commit:
    decision = draft.decision
    why = f"{type(fact).__name__}: {decision.answer}"
    deadlines = {k: at for k, at in draft.after.items() if draft.before.get(k) != at}
    if isinstance(fact, Due) and fact.kind in draft.after:
        deadlines[fact.kind] = draft.after[fact.kind]  # the entry that fired is spent
    dropped = [k for k in draft.before if k not in draft.after]
    if isinstance(fact, Due) and fact.kind not in draft.after and fact.kind not in dropped:
        dropped.append(fact.kind)
    # A deadline is named by the version at which it was set, so setting one makes a version.
    changed = bool(decision.events or decision.messages or deadlines)
    return Commit(
        subject=fact.subject,
        fact_id=fact.id,
        version=loaded.version if changed or dropped else ANY,
        hold=loaded.hold,
        chain=loaded.chain,
        body=_body(loaded, draft) if changed else b"",
        unchanged=draft.unchanged,
        outcome=_outcome(fact, decision.answer),
        entries=tuple(_encode(Entry(fact.received_at, why, event)) for event in decision.events),
        deadlines=deadlines,
        dropped=tuple(dropped),
        outbox=decision.messages,
        settle=_settles(fact),
        silence=_silence(decision),
        counters=difference(draft.had, draft.has) | _sent(fact),
        set_hold=decision.hold,
    )


def _body(loaded: Loaded, draft: Draft) -> bytes:
    return loaded.body if draft.unchanged else _encode(draft.decision.after)


def _outcome(fact: AnyFact, answer: str) -> bytes:
    """What the same fact is answered with when it comes again."""
    if isinstance(fact, Registered) and fact.digest:
        return _encode({"answer": answer, "digest": fact.digest})
    return _encode({"answer": answer})


def _silence(decision: Decision[Any]) -> tuple[str, ...]:
    """After a danger stop no instruction that still waits may reach the contact."""
    visit = decision.after
    if not any(isinstance(event, Stopped) for event in decision.events):
        return ()
    both = (thread_of(visit, private=False), thread_of(visit, private=True))
    return tuple(dict.fromkeys((*both, page_thread(visit))))


def _settles(fact: AnyFact) -> tuple[Settle, ...]:
    """A delivery is recorded and its message settled in the same commit."""
    if isinstance(fact, Delivered):
        return (
            Settle(
                message=fact.message,
                thread=fact.thread,
                state="sent",
                channel=fact.channel,
                stamp=fact.stamp,
                slot=fact.slot,
                rev=fact.rev,
                root=fact.root,
            ),
        )
    if isinstance(fact, Undeliverable):
        return (Settle(message=fact.message, thread=fact.thread, state="dead", why=fact.why),)
    return ()


def _sent(fact: AnyFact) -> dict[str, int]:
    if isinstance(fact, Delivered):
        return {"sent": 1}
    return {"dead": 1} if isinstance(fact, Undeliverable) else {}
