"""Replaying the journal: events give snapshots again, and the chain shows tampering."""

from typing import Any

import msgspec

from bot.desk.kinds import KINDS, checked
from bot.desk.rebuild import counter_faults
from bot.desk.writing import EVENT_SCHEMA, Entry
from bot.model.kept import KeptAside, KeptSettled
from bot.model.kept import evolve as evolve_kept
from bot.model.rota.state import RotaEvent
from bot.model.rota.state import evolve as evolve_rota
from bot.model.subject import Subject
from bot.model.visit.event import AnyEvent
from bot.model.visit.evolve import evolve as evolve_visit
from bot.model.wave.state import WaveEvent
from bot.model.wave.state import evolve as evolve_wave
from bot.store.pack import chained
from bot.store.store import Store


class VisitEntry(Entry, frozen=True):
    event: AnyEvent


class WaveEntry(Entry, frozen=True):
    event: WaveEvent


class KeptEntry(Entry, frozen=True):
    event: KeptAside | KeptSettled


class RotaEntry(Entry, frozen=True):
    event: RotaEvent


class _Form(msgspec.Struct, frozen=True, gc=False):
    """The one member that tells whether the rest can be read."""

    schema: int


_DECODERS: dict[str, msgspec.json.Decoder[Any]] = {
    "visit": msgspec.json.Decoder(VisitEntry),
    "wave": msgspec.json.Decoder(WaveEntry),
    "aside": msgspec.json.Decoder(KeptEntry),
    "rota": msgspec.json.Decoder(RotaEntry),
}


def entry_of(kind: str, raw: bytes) -> Any:
    """A journal entry of a subject of ``kind``. Raises ``TooNew`` for a later form."""
    checked(msgspec.json.decode(raw, type=_Form).schema, EVENT_SCHEMA, "journal")
    return _DECODERS[kind].decode(raw)


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
        case "rota":
            return evolve_rota(state, entry.event, entry.at)
    return evolve_kept(state, entry.event, entry.at, fact_id.removesuffix("/kept"))


async def verify(store: Store) -> Checked:
    """Replay every journal. Problems are sentences; none means all is as recorded."""
    result = Checked(problems=[])
    for home in await store.homes():
        await _home(store, home, result)
        await _counters(store, home, result)
    return result


async def _counters(store: Store, home: str, result: Checked) -> None:
    if home.startswith("w:"):
        result.problems += await counter_faults(store, home)


async def _home(store: Store, home: str, result: Checked) -> None:
    states: dict[Subject, Any] = {}
    chains: dict[Subject, str] = {}
    async for line in store.journal(home):
        subject = line.subject
        result.commits += 1
        chain = chained(chains.get(subject, ""), str(subject), line.fact_id, line.version, line.raw)
        if chain != line.chain:
            result.problems.append(f"{subject}: the chain breaks at version {line.version}.")
        chains[subject] = line.chain
        for raw in line.events:
            entry = entry_of(subject.kind, raw)
            states[subject] = replayed(subject, states.get(subject), entry, line.fact_id)
            result.events += 1
    for subject in [Subject(home, name) for name in sorted(await store.names(home))]:
        if subject not in chains:  # else a journal that was taken away whole would not be missed
            result.subjects += 1
            if (await store.load(subject)).body:
                result.problems.append(
                    f"{subject}: there is a snapshot, but nothing in the journal."
                )
    for subject, state in states.items():
        result.subjects += 1
        loaded = await store.load(subject)
        if KINDS[subject.kind].read(loaded.body) != state:
            result.problems.append(f"{subject}: the snapshot is not what its events give.")
        if loaded.chain != chains[subject]:
            result.problems.append(f"{subject}: the chain ends otherwise than the journal.")
