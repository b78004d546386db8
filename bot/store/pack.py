"""A commit as the script reads it: the keys it touches, and one msgpack value."""

import hashlib
from collections.abc import Iterable
from functools import lru_cache

import msgspec

from bot.model.message import Message
from bot.store import keys
from bot.store.commit import ANY, Commit, Settle
from bot.store.wire import Call, Packed, Script, ready_call

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


def chain_after(c: Commit) -> str:
    """The subject's chain once the commit is taken."""
    if not c.entries:
        return c.chain
    events = events_of(c.entries)
    return chained(c.chain, str(c.subject), c.fact_id, c.version + 1, events)


def events_of(entries: Iterable[bytes]) -> bytes:
    """Journal events of one commit as one JSON array."""
    return b"[" + b",".join(entries) + b"]"


def commit_call(c: Commit) -> Call:
    """The call of the commit script. Raises ``ValueError`` for what cannot be written.

    What the script hands on to the server as it is lies ready as a list of arguments.
    """
    if not c.fact_id:
        raise ValueError(f"a commit of {c.subject} names no fact")
    if c.version == ANY and (c.body or c.deadlines):
        raise ValueError(f"a commit of {c.subject} changes it without saying what it was read as")
    if c.entries and not c.body:
        raise ValueError(f"a commit of {c.subject} has journal events but no new snapshot")
    home, name, version = keys.of(c.subject.home), c.subject.name, c.version + 1
    value: dict[str, object] = {
        "fact": True,
        "version": c.version,
        "hold": c.hold,
        "outcome": _text(c.outcome),
        "keep": keys.FACT_SECONDS,
        "kinds": [f"d:{kind}" for kind in (*c.deadlines, *c.dropped)],
    }
    if c.body or c.deadlines:
        fields: list[object] = ["ver", version]
        value["name"], value["subject"] = name, fields
        if c.body:
            chain = value["read"] = c.chain
            if c.entries:
                events = events_of(c.entries)
                chain = chained(c.chain, str(c.subject), c.fact_id, version, events)
                value["journal"] = (
                    *("s", name, "f", c.fact_id, "v", version, "h", chain),
                    *("e", _text(events)),
                )
            fields += ("chain", chain)
            if not c.unchanged:
                fields += ("body", _text(c.body))
        if c.deadlines:
            value["due"] = _due(c, version, fields)
    if c.dropped:
        dropped = [f"d:{kind}" for kind in c.dropped if kind not in c.deadlines]
        if dropped:
            value["dropped"] = dropped
    threads = _threads(c.settle, c.outbox, c.silence)
    _threaded(value, threads, c.settle, c.outbox)
    if c.silence:
        value["silence"] = [(threads[thread], thread) for thread in c.silence]
    if c.counters:
        value["counters"] = [part for pair in c.counters.items() for part in pair]
    if c.set_hold is not None:
        value["held"] = c.set_hold
    return _call(home, home.fact(c.fact_id), name, threads, value)


def settle_call(home: str, settles: tuple[Settle, ...]) -> Call:
    """Like a commit that settles messages and does nothing else; it needs no fact."""
    k = keys.of(home)
    value: dict[str, object] = {"version": ANY, "hold": 0, "kinds": ()}
    threads = _threads(settles, ())
    _threaded(value, threads, settles, ())
    return _call(k, k.mark, "", threads, value)


def _call(
    k: keys.Home, fact: bytes, name: str, threads: dict[str, int], value: dict[str, object]
) -> Call:
    found = [fact, k.subject(name)]
    for thread in threads:
        found += k.threaded(thread)
    return ready_call(COMMIT, _commons(k), found, _encode(value))


@lru_cache(maxsize=4096)
def _commons(k: keys.Home) -> Packed:
    """The keys that every commit of a home touches."""
    common = (k.hold, k.mark, k.journal, k.due, k.ready, k.later, k.busy, k.counters)
    return Packed(*common, k.dead, k.names)


def _due(c: Commit, version: int, fields: list[object]) -> list[object]:
    """Deadlines as they go into the sorted set; the subject's ``fields`` keep their members."""
    due: list[object] = []
    for kind, at in c.deadlines.items():
        member = keys.member(c.subject.name, kind, version)
        due += (at, member)
        fields += (f"d:{kind}", member)
    return due


def _threads(
    settles: tuple[Settle, ...], outbox: tuple[Message, ...], silence: tuple[str, ...] = ()
) -> dict[str, int]:
    """Each thread of the commit, and where its three keys begin, counted from 1."""
    if not settles and not outbox and not silence:
        return {}
    names = dict.fromkeys([*(s.thread for s in settles), *(m.thread for m in outbox), *silence])
    return dict(zip(names, range(13, 13 + 3 * len(names), 3), strict=True))


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
        value["outbox"] = _outbox(threads, outbox)


def _outbox(threads: dict[str, int], outbox: tuple[Message, ...]) -> list[object]:
    """New messages by thread: what must not be there yet, the fields to write, the ids.

    The fields begin with ``b:ID``, body, ``s:ID``, state of each message, in the order of the ids.
    """
    by_thread: dict[str, tuple[int, str, list[int], list[str], list[object], list[str]]] = {}
    newest: dict[str, list[str]] = {}
    for m in outbox:
        thread, score = m.thread, m.urgency * _URGENCY + m.made_at
        body, state = f"b:{m.id}", f"s:{m.id}"
        if thread not in by_thread:
            by_thread[thread] = (threads[thread], thread, [], [], [], [])
            newest[thread] = []
        _, _, scores, checked, fields, ids = by_thread[thread]
        meta = _encode(("queued", 0, score, m.key, m.slot, m.rev, ""))
        fields += (body, _text(_json(m)), state, _text(meta))
        scores.append(score)
        checked.append(state)
        ids.append(m.id)
        if m.key:
            checked.append(f"k:{m.key}")
            newest[thread] += (f"k:{m.key}", m.id)
        if m.slot:
            checked.append(f"e:{m.slot}")
            newest[thread] += (f"e:{m.slot}", m.id)
    found: list[object] = []
    for i, thread, scores, checked, fields, ids in by_thread.values():
        alone = len(set(checked)) == len(checked)  # else they are in each other's way
        fields += newest[thread]
        found.append((i, thread, min(scores), checked if alone else (), fields, ids))
    return found
