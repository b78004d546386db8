"""A commit as the script reads it: one msgpack value, and the keys it touches."""

import hashlib
from collections.abc import Iterable

import msgspec

from bot.model.message import Message
from bot.store import keys
from bot.store.commit import ANY, Commit, Settle
from bot.store.wire import Script

COMMIT = Script("commit")

_encode = msgspec.msgpack.Encoder().encode
_json = msgspec.json.Encoder().encode


def _text(raw: bytes) -> msgspec.Raw:
    """Bytes as a msgpack string: the script's reader knows no type for bytes."""
    return msgspec.Raw(b"\xdb" + len(raw).to_bytes(4, "big") + raw)


#: Urgency before age: wave time in ms stays below this until the year 2286.
_URGENCY = 10_000_000_000_000


def chained(previous: str, subject: str, fact_id: str, version: int, events: bytes) -> str:
    """The chain after one commit: SHA-256, hex, over the chain before it and what was written.

    ``events`` is the JSON array as it stands in the journal.
    """
    head = f"{previous}\n{subject}\n{fact_id}\n{version}\n".encode()
    return hashlib.sha256(head + events).hexdigest()


def events_of(entries: Iterable[bytes]) -> bytes:
    """Journal events of one commit as one JSON array."""
    return b"[" + b",".join(entries) + b"]"


def score_of(message: Message) -> int:
    return message.urgency * _URGENCY + message.made_at


def commit_call(c: Commit) -> tuple[list[bytes], bytes]:
    """Keys and argument of the commit script. Raises ``ValueError`` for what cannot be written."""
    if not c.fact_id:
        raise ValueError(f"a commit of {c.subject} names no fact")
    if c.version == ANY and (c.body or c.deadlines):
        raise ValueError(f"a commit of {c.subject} changes it without saying what it was read as")
    if c.entries and not c.body:
        raise ValueError(f"a commit of {c.subject} has journal events but no new snapshot")
    home, name = keys.of(c.subject.home), c.subject.name
    value: dict[str, object] = {
        "fact": c.fact_id,
        "name": name,
        "version": c.version,
        "hold": c.hold,
        "outcome": _text(c.outcome),
        "keep": keys.FACT_SECONDS,
    }
    if c.body:
        value["body"] = _text(c.body)
        value["read"] = value["chain"] = c.chain
        if c.entries:
            events = events_of(c.entries)
            value["events"] = _text(events)
            value["chain"] = chained(c.chain, str(c.subject), c.fact_id, c.version + 1, events)
    if c.deadlines or c.dropped:
        _deadlines(c, value)
    threads = _threads(c.settle, c.outbox, c.silence)
    _threaded(value, threads, c.settle, c.outbox)
    if c.silence:
        value["silence"] = [(threads[thread], thread) for thread in c.silence]
    if c.counters:
        value["counters"] = [part for pair in c.counters.items() for part in pair]
    if c.set_hold is not None:
        value["held"] = c.set_hold
    return _keys(home, home.fact(c.fact_id), name, threads), _encode(value)


def settle_call(home: str, settles: tuple[Settle, ...]) -> tuple[list[bytes], bytes]:
    """Like a commit that settles messages and does nothing else; it needs no fact."""
    k = keys.of(home)
    value: dict[str, object] = {"version": ANY, "hold": 0}
    threads = _threads(settles, ())
    _threaded(value, threads, settles, ())
    return _keys(k, k.mark, "", threads), _encode(value)


def _keys(k: keys.Home, fact: bytes, name: str, threads: dict[str, int]) -> list[bytes]:
    found = [
        fact,
        k.subject(name),
        k.hold,
        k.mark,
        k.journal,
        k.due,
        k.deadlines(name),
        k.ready,
        k.later,
        k.busy,
        k.counters,
        k.dead,
        k.names,
    ]
    for thread in threads:
        found += (k.queue(thread), k.outbox(thread), k.thread(thread))
    return found


def _deadlines(c: Commit, value: dict[str, object]) -> None:
    dropped = [kind for kind in c.dropped if kind not in c.deadlines]
    value["kinds"] = [*c.deadlines, *dropped]
    if c.deadlines:
        due: list[object] = []
        kept: list[str] = []
        for kind, at in c.deadlines.items():
            member = keys.member(c.subject.name, kind, c.version + 1)
            due += (at, member)
            kept += (kind, member)
        value["due"], value["set"] = due, kept
    if dropped:
        value["dropped"] = dropped


def _threads(
    settles: tuple[Settle, ...], outbox: tuple[Message, ...], silence: tuple[str, ...] = ()
) -> dict[str, int]:
    """Each thread of the commit, and where its three keys begin, counted from 1."""
    if not settles and not outbox and not silence:
        return {}
    names = dict.fromkeys([*(s.thread for s in settles), *(m.thread for m in outbox), *silence])
    return {thread: 14 + 3 * n for n, thread in enumerate(names)}


def _threaded(
    value: dict[str, object],
    threads: dict[str, int],
    settles: tuple[Settle, ...],
    outbox: tuple[Message, ...],
) -> None:
    if not threads:
        return
    value["threads"] = list(threads)
    if settles:
        value["settle"] = [
            (
                threads[s.thread],
                s.message,
                s.thread,
                s.state,
                s.channel,
                s.stamp,
                s.slot,
                s.rev,
                s.root,
                s.why,
            )
            for s in settles
        ]
    if outbox:
        value["outbox"] = [
            (threads[m.thread], m.id, m.thread, _text(_json(m)), score_of(m), m.key, m.slot, m.rev)
            for m in outbox
        ]
