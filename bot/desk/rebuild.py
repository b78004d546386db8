"""What is derived can be made again: the counters of a wave, and the indexes."""

import msgspec

from bot.model.serial import normal
from bot.model.subject import Subject
from bot.model.visit.state import Visit
from bot.model.visit.tally import tally
from bot.store.store import NOT_DERIVED, Store

_visits = msgspec.json.Decoder(Visit)


async def visits_of(store: Store, home: str) -> list[tuple[Subject, Visit]]:
    """Every visit of a wave with its subject."""
    found = []
    for subject in await store.visits(home):
        body = (await store.load(subject)).body
        if body:
            found.append((subject, _visits.decode(body)))
    return found


async def derived_counters(store: Store, home: str) -> dict[str, int]:
    """The counters that are sums over the visits, as the snapshots give them."""
    total: dict[str, int] = {}
    for _, visit in await visits_of(store, home):
        for name, count in tally(visit).items():
            total[name] = total.get(name, 0) + count
    return total


async def counter_faults(store: Store, home: str) -> list[str]:
    """Where the counters kept differ from those derived; a sentence for each."""
    derived = await derived_counters(store, home)
    kept = await store.get_counters(home)
    names = set(derived) | {n for n in kept if n not in NOT_DERIVED}
    return [
        f"{home}: counter {name} is {kept.get(name, 0)}, the visits give {derived.get(name, 0)}."
        for name in sorted(names)
        if kept.get(name, 0) != derived.get(name, 0)
    ]


async def rebuild(store: Store) -> int:
    """Make counters and indexes of every wave again; the number of visits gone through.

    To be run while nobody decides: a commit between reading and writing would be left out.
    """
    done = 0
    for home in await store.homes():
        if not home.startswith("w:"):
            continue
        await store.set_counters(home, await derived_counters(store, home))
        for subject, visit in await visits_of(store, home):
            await _index(store, subject, visit)
            done += 1
    return done


async def _index(store: Store, subject: Subject, visit: Visit) -> None:
    for unit in visit.units:
        await store.put("serial", normal(unit.serial), subject)
    for person in (visit.contact, visit.deputy):
        if person is not None:
            await store.put("user", person.user, subject)
    if visit.handing.offer is not None:
        await store.put("code", visit.handing.offer.mark, subject)
    info = await store.thread_info(subject.home, f"site:{visit.id}")
    if info.channel and info.root:
        await store.put("thread", f"{info.channel}:{info.root}", subject)
