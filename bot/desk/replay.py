"""Replaying the journal: events give snapshots again, and the chain shows tampering."""

from typing import Any

import msgspec

from bot.desk.kinds import KINDS
from bot.model.kept import KeptAside
from bot.model.kept import evolve as evolve_kept
from bot.model.subject import Subject
from bot.model.visit.event import AnyEvent
from bot.model.visit.evolve import evolve as evolve_visit
from bot.model.wave.state import WaveEvent
from bot.model.wave.state import evolve as evolve_wave
from bot.store.pack import chained
from bot.store.store import Store


class VisitEntry(msgspec.Struct, frozen=True):
    at: int
    why: str
    event: AnyEvent


class WaveEntry(msgspec.Struct, frozen=True):
    at: int
    why: str
    event: WaveEvent


class KeptEntry(msgspec.Struct, frozen=True):
    at: int
    why: str
    event: KeptAside


ENTRIES: dict[str, msgspec.json.Decoder[Any]] = {
    "visit": msgspec.json.Decoder(VisitEntry),
    "wave": msgspec.json.Decoder(WaveEntry),
    "aside": msgspec.json.Decoder(KeptEntry),
}


class Checked(msgspec.Struct):
    subjects: int = 0
    commits: int = 0
    events: int = 0
    problems: list[str] = []


def replayed(subject: Subject, state: Any, entry: Any, fact_id: str) -> Any:
    """The snapshot after one journal entry."""
    match subject.kind:
        case "visit":
            return evolve_visit(state, entry.event, entry.at)
        case "wave":
            return evolve_wave(state, entry.event, entry.at, subject.wave)
    return evolve_kept(state, entry.event, entry.at, fact_id.removesuffix("/kept"))


async def verify(store: Store) -> Checked:
    """Replay every journal. Problems are sentences; none means all is as recorded."""
    checked = Checked(problems=[])
    for home in await store.homes():
        await _home(store, home, checked)
    return checked


async def _home(store: Store, home: str, checked: Checked) -> None:
    states: dict[Subject, Any] = {}
    chains: dict[Subject, str] = {}
    async for line in store.journal(home):
        subject = line.subject
        checked.commits += 1
        chain = chained(chains.get(subject, ""), str(subject), line.fact_id, line.version, line.raw)
        if chain != line.chain:
            checked.problems.append(f"{subject}: the chain breaks at version {line.version}.")
        chains[subject] = line.chain
        for raw in line.events:
            entry = ENTRIES[subject.kind].decode(raw)
            states[subject] = replayed(subject, states.get(subject), entry, line.fact_id)
            checked.events += 1
    for subject, state in states.items():
        checked.subjects += 1
        loaded = await store.load(subject)
        if KINDS[subject.kind].read(loaded.body) != state:
            checked.problems.append(f"{subject}: the snapshot is not what its events give.")
        if loaded.chain != chains[subject]:
            checked.problems.append(f"{subject}: the chain ends otherwise than the journal.")
