"""What a rehearsal leaves behind, in the sense in which two runs are equal.

Per visit the same ordered (event kind, stage, wave time, template, place in the thread): events
as the journal holds them, messages as they stand in the chat. Ids that count versions or carry the
platform's stamps are left out, for stamps are made by whoever posts first. What was confirmed at
one instant in several threads (a site's, a call's, a person's) has no order even in undisturbed
runs: such neighbours are compared as a set; the order within each thread is held by the chat.
"""

import itertools
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import msgspec

from bot.commands.common import desk_of, store_of
from bot.desk.kinds import KINDS
from bot.desk.replay import verify
from bot.model.subject import ASIDE, Subject
from bot.plan.live import go_live
from bot.plan.rows import SiteRow
from bot.practice import scene
from bot.practice.clock import WaveClock
from bot.practice.killing import Ended
from bot.practice.world import World
from bot.settings import Settings, StoreSettings
from bot.store.store import JournalLine, Store
from handlers.registration import fact_id

#: What the practice registry calls itself.
SENDER = "https://registry.example.org/units"


def registered(ident: str, serial: str) -> bytes:
    """A registration's body, as that registry writes it."""
    event = {
        "specversion": "1.0",
        "source": SENDER,
        "id": ident,
        "type": "org.example.unit.registered",
        "data": {"serial": serial},
    }
    return msgspec.json.encode(event)


def fact_of(ident: str) -> str:
    """The id of the fact that a registration of that id becomes."""
    return fact_id(scene.SOURCE, {"source": SENDER, "id": ident})


#: Parts of an event that name a message, a stamp or where words lie.
_NAMES = {"message", "text", "time", "stamp", "channel"}
Line = tuple[Any, ...]


@dataclass
class Record:
    """``visits``: site to its events; ``threads``: thread to what stands in it, by place."""

    visits: dict[str, list[Line]] = field(default_factory=dict)
    threads: dict[str, list[Line]] = field(default_factory=dict)
    wave: list[Line] = field(default_factory=list)
    aside: list[Line] = field(default_factory=list)
    states: dict[str, str] = field(default_factory=dict)
    problems: list[str] = field(default_factory=list)
    lost: int = 0
    copies: int = 0  # second copies that still stand in the chat
    safety_again: int = 0  # the fixed answer to danger, said more than once


def settings_of(data: Path) -> Settings:
    known = scene.settings("http://127.0.0.1/api/", "xoxb-none", ["CWAVE01"], "")
    return known.model_copy(
        update={"store": StoreSettings(data=data), "runbook": scene.HERE / "runbook.yaml"}
    )


async def import_wave(
    data: Path, rows: list[SiteRow], channels: list[str], clock: WaveClock
) -> None:
    """As ``musterline import`` does beside a bot that runs."""
    settings = settings_of(data)
    async with store_of(settings) as store:
        await go_live(desk_of(settings, store), rows, channels=channels, now=clock.now())


async def read(data: Path, ended: Ended) -> Record:
    """Read everything back, and check what must hold after any run."""
    record = Record(problems=list(ended.problems))
    async with store_of(settings_of(data)) as store:
        checked = await verify(store)
        record.problems += checked.problems
        facts: Counter[str] = Counter()
        kept: Counter[str] = Counter()
        for home in await store.homes():
            async for line in store.journal(home):
                (kept if line.subject == ASIDE else facts)[line.fact_id] += 1
                _add(record, line)
            await _counters(store, home, record)
            dead = await store.dead_letters(home)
            record.problems += [f"dead letter {d.message.id}: {d.why}" for d in dead]
            if waiting := await store.waiting(home):
                record.problems.append(f"{home}: {waiting} messages were never sent")
        record.visits = {site: _settled(lines) for site, lines in record.visits.items()}
        _events(ended, facts | kept, record)  # kept aside until its visit was known: in both
    _chat(ended.world, record)
    return record


def _events(ended: Ended, facts: Counter[str], record: Record) -> None:
    """Every registration answered 2xx, and every word acknowledged, is in the journal once."""
    for event in ended.accepted:
        fact = fact_of(event)
        found = facts[fact] + facts[f"{fact}/aside"]
        if found != 1:
            record.lost += found == 0
            record.problems.append(f"registration {event} is {found} times in the journal")
    if len(set(ended.accepted)) != len(ended.accepted):
        record.problems.append("a registration was accepted twice by the registry's own count")
    for one in ended.world.server.deliveries:
        event = one.payload.get("event", {})
        thread = event.get("thread_ts")
        if one.kind != "event" or not one.ok or event.get("type") != "message" or not thread:
            continue
        if event.get("subtype") or event.get("bot_id"):
            continue
        fact = f"chat:{one.payload['team_id']}:{event['channel']}:{event['ts']}"
        if facts[fact] != 1:
            record.lost += facts[fact] == 0
            record.problems.append(f"the words {fact} are {facts[fact]} times in the journal")
    record.lost += len(ended.world.server.sender.lost)


async def _counters(store: Store, home: str, record: Record) -> None:
    """The counters are what a rebuild from the snapshots gives."""
    rebuilt: Counter[str] = Counter()
    for name in await store.names(home):
        subject = Subject(home, name)
        kind = KINDS[subject.kind]
        state = kind.read((await store.load(subject)).body)
        rebuilt.update(kind.tally(state))
        if subject.kind == "visit":
            record.states[subject.site] = state.state
    kept = await store.get_counters(home)
    for name in sorted((rebuilt.keys() | kept.keys()) - {"sent", "dead"}):
        if rebuilt[name] != kept.get(name, 0):
            record.problems.append(
                f"{home}: counter {name} is {kept.get(name, 0)}, rebuilt {rebuilt[name]}"
            )


def _add(record: Record, line: JournalLine) -> None:
    for raw in line.events:
        entry = msgspec.json.decode(raw)
        shape = (entry["at"], _shape(entry["event"]))
        if line.subject == ASIDE:
            record.aside.append(shape)
        elif line.subject.kind == "visit":
            record.visits.setdefault(line.subject.site, []).append(shape)
        else:
            record.wave.append(shape)


def _settled(lines: list[Line]) -> list[Line]:
    """Confirmations that lie side by side at one instant, in one order."""
    found: list[Line] = []
    for (_, arrival), group in itertools.groupby(lines, key=lambda x: (x[0], _arrival(x))):
        some = list(group)
        found += sorted(some, key=repr) if arrival else some
    return found


def _arrival(line: Line) -> bool:
    return ("event", "message_arrived") in line[1] or ("event", "question_arrived") in line[1]


def _shape(value: Any) -> Any:
    """A part of an event as plain, comparable data, without names of messages and stamps."""
    if isinstance(value, dict):
        return tuple((k, _shape(v)) for k, v in sorted(value.items()) if k not in _NAMES)
    if isinstance(value, list):
        return tuple(_shape(v) for v in value)
    return value


def _chat(world: World, record: Record) -> None:
    """What stands in the chat: of each thread the messages in their order, with wave time."""
    copies: Counter[str] = Counter()
    for channel in world.server.workspace.channels.values():
        for stamp in sorted(channel.messages):
            message = channel.messages[stamp]
            mark = message.get("metadata", {}).get("event_payload", {})
            if not mark.get("id"):
                continue
            if str(mark["id"]).startswith("danger:"):
                record.safety_again += copies[str(mark["id"])] > 0
                copies[str(mark["id"])] = 1
                continue
            copies[f"{mark['id']}/{mark.get('slot') or ''}"] += 1
            record.threads.setdefault(str(mark["thread"]), []).append(
                (
                    round(float(stamp) * 1000),
                    mark["template"],
                    mark.get("rev", 0),
                    "reply" if message.get("thread_ts") not in (None, stamp) else "root",
                    stamp in channel.pins,
                )
            )
    record.copies = sum(count - 1 for count in copies.values())


def differences(calm: Record, rough: Record) -> list[str]:
    """Where a disturbed run is not what the undisturbed one was; sentences."""
    found = []
    pairs = [(f"events of {s}", calm.visits.get(s), rough.visits.get(s)) for s in
             sorted(calm.visits.keys() | rough.visits.keys())]  # fmt: skip
    pairs += [(f"thread {t}", calm.threads.get(t), rough.threads.get(t)) for t in
              sorted(calm.threads.keys() | rough.threads.keys())]  # fmt: skip
    pairs += [
        ("events of the wave", calm.wave, rough.wave),
        ("kept aside", calm.aside, rough.aside),
    ]
    for what, a, b in pairs:
        if a != b:
            found.append(f"{what}: {_first(a or [], b or [])}")
    if calm.states != rough.states:
        found.append(f"visits ended as {rough.states}, not {calm.states}")
    return found


def _first(a: list[Line], b: list[Line]) -> str:
    for n in range(max(len(a), len(b))):
        left = a[n] if n < len(a) else None
        right = b[n] if n < len(b) else None
        if left != right:
            return f"at place {n}: {left} became {right} (of {len(a)}, {len(b)})"
    return "equal"
