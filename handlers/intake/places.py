"""Where a unit may belong that came from elsewhere than expected: proposals, for a person.

Only looked for when something is odd, and among a limited number of visits.
"""

import asyncio
import logging
import time
from collections.abc import Callable, Iterator
from functools import lru_cache
from ipaddress import IPv4Network, IPv6Network, ip_address, ip_network
from typing import Any

from bot.desk import Desk
from bot.model.kept import Choice, Kept
from bot.model.serial import normal
from bot.model.subject import ASIDE, Subject
from bot.model.visit.state import Unit, Visit
from bot.model.wave.state import Wave

_log = logging.getLogger("musterline.registration")
_VISITS = 500  # of the open waves that are looked at
_PROPOSED = 3
_TYPOS = 2
_LOOK_AGAIN = 1.0


class Places:
    """Looks through the visits of open waves; what was read serves for a moment.

    Many odd registrations at once must not read all visits each. ``clock`` gives seconds.
    """

    def __init__(self, desk: Desk, clock: Callable[[], float] = time.monotonic) -> None:
        self._desk, self._clock = desk, clock
        self._lock = asyncio.Lock()
        self._until = 0.0
        self._read: list[tuple[Subject, Visit]] = []

    async def at(self, address: str) -> tuple[str, ...]:
        """The site whose networks hold the address, and its first unit, if exactly one site has."""
        found = [
            Choice(subject, visit.units[0].serial, visit.site.name)
            for subject, visit in await self._visits()
            if visit.units and visit.site.networks and within(address, visit.site.networks)
        ]
        return (str(found[0]),) if len(found) == 1 else ()

    async def like(self, source: str, serial: str) -> tuple[str, ...]:
        """Who may be meant by a serial nobody expects: one much like it, else who waits now.

        Nothing when the admins were told of the serial before.
        """
        kept: Kept | None = await self._desk.state(ASIDE)
        if kept is not None and any((i.serial, i.source) == (serial, source) for i in kept.items):
            return ()
        wanted = normal(serial)
        ranked = []
        for subject, visit in await self._visits():
            for unit in _awaited(visit):
                typos = distance(wanted, normal(unit.serial), _TYPOS)
                if typos <= _TYPOS or visit.state == "running":
                    choice = Choice(subject, unit.serial, visit.site.name)
                    ranked.append((typos, visit.start, str(choice)))
        return tuple(choice for _, _, choice in sorted(ranked)[:_PROPOSED])

    async def _visits(self) -> list[tuple[Subject, Visit]]:
        async with self._lock:
            if self._clock() >= self._until:
                self._read = await self._look()
                self._until = self._clock() + _LOOK_AGAIN
            return self._read

    async def _look(self) -> list[tuple[Subject, Visit]]:
        subjects: list[Subject] = []
        for home in await self._desk.store.homes():
            if home.startswith("w:"):
                wave: Any = await self._desk.state(Subject(home, "wave"))
                if isinstance(wave, Wave) and wave.state != "closed":
                    subjects += await self._desk.store.visits(home)
        chosen = subjects[:_VISITS]
        states = await asyncio.gather(*(self._desk.state(subject) for subject in chosen))
        return [(s, v) for s, v in zip(chosen, states, strict=True) if isinstance(v, Visit)]


def _awaited(visit: Visit) -> Iterator[Unit]:
    if visit.state not in ("done", "rebook", "backed_out"):
        yield from (unit for unit in visit.units if unit.registered_at is None)


def distance(one: str, other: str, most: int) -> int:
    """How many characters were put in, left out or mistyped; ``most`` + 1 for any more."""
    if abs(len(one) - len(other)) > most or len(set(one) ^ set(other)) > 2 * most:
        return most + 1  # seen at a glance: each typo changes two characters of the set at most
    row = list(range(len(other) + 1))
    for i, left in enumerate(one, 1):
        before, row[0] = row[0], i
        for j, right in enumerate(other, 1):
            before, row[j] = row[j], min(row[j] + 1, row[j - 1] + 1, before + (left != right))
    return min(row[-1], most + 1)


@lru_cache(maxsize=4096)
def _networks(texts: tuple[str, ...]) -> tuple[IPv4Network | IPv6Network, ...]:
    found = []
    for text in texts:
        try:
            found.append(ip_network(text, strict=False))
        except ValueError:
            _log.warning("%r in a site list is no network", text)
    return tuple(found)


def within(address: str, networks: tuple[str, ...]) -> bool:
    """Whether it is in one of them. What is no address cannot be said to be outside."""
    try:
        found = ip_address(address)
    except ValueError:
        return True
    return any(found in network for network in _networks(networks))
