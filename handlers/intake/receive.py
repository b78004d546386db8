"""From what a sender says of a unit to the desk: whom it concerns, and what is odd about it."""

import time
from collections import Counter
from collections.abc import Callable
from typing import Any

from bot.desk import Desk
from bot.model.fact import Registered
from bot.model.kept import Choice
from bot.model.subject import ASIDE, Subject, of_wave
from bot.model.wave.state import Wave
from handlers.clock import Now
from handlers.intake.places import Places, within
from handlers.intake.problems import Refused
from handlers.intake.sighting import Sighting
from handlers.routing import Expected, expecting

_LOOK_AGAIN = 2.0  # seconds of process time for which a wave's state is remembered


class Intake:
    """Brings sightings to the desk. ``counts`` is by source and outcome, since the start."""

    def __init__(self, desk: Desk, now: Now, clock: Callable[[], float] = time.monotonic) -> None:
        self._desk, self._now, self._clock = desk, now, clock
        self._waves: dict[str, tuple[float, bool]] = {}
        self._places = Places(desk, clock)
        self.counts: Counter[tuple[str, str]] = Counter()

    async def take(self, source: str, seen: Sighting) -> str:
        """What became of it. Raises ``Refused`` (409), ``StoreError`` when it must come again."""
        outcome = await self._bring(source, seen) if seen.kind != "ignored" else "ignored"
        self.counts[source, outcome] += 1
        return outcome

    async def _bring(self, source: str, seen: Sighting) -> str:
        found = await expecting(self._desk, seen.serial)
        closed = found is not None and await self._closed(found.subject)
        subject = ASIDE if found is None or closed else found.subject
        outside = found is not None and not closed and _is_outside(found, seen.address)
        choices: tuple[str, ...] = ()
        if outside:
            choices = await self._places.at(seen.address)
        elif found is None:
            choices = await self._places.like(source, seen.serial)
        elif closed:
            choices = (str(Choice(found.subject, seen.serial, found.visit.site.name)),)
        fact = Registered(
            id=f"reg:{source}:{seen.event}",
            subject=subject,
            received_at=self._now(),
            claimed_at=seen.claimed_at,
            serial=seen.serial,
            source=source,
            kind=seen.kind,  # type: ignore[arg-type]  # "ignored" never comes here
            detail=seen.detail,
            digest=seen.digest,
            progress=seen.progress,
            message=seen.message,
            outside=outside,
            choices=choices,
            closed=closed,
        )
        outcome = await self._desk.receive(fact, found.seen if found and not closed else None)
        if outcome.again and outcome.digest and outcome.digest != seen.digest:
            raise Refused(409, "This id was taken before, with other content.")
        if found is None and await self._expected_after_all(seen.serial):
            return "ok"
        return "repeat" if outcome.again else outcome.answer

    async def _expected_after_all(self, serial: str) -> bool:
        """Whether the index has come to know the serial while the registration was kept aside."""
        found = await expecting(self._desk, serial)
        return found is not None and await self._desk.expects(serial, found.subject) > 0

    async def _closed(self, subject: Subject) -> bool:
        """Whether the wave is over. It is looked up again after a moment, not each time."""
        known = self._waves.get(subject.home)
        now = self._clock()
        if known is None or known[0] < now:
            if known is not None:  # whoever comes meanwhile goes by what was known
                self._waves[subject.home] = (now + _LOOK_AGAIN, known[1])
            wave: Any = await self._desk.state(of_wave(subject.wave))
            over = isinstance(wave, Wave) and wave.state == "closed"
            self._waves[subject.home] = known = (now + _LOOK_AGAIN, over)
        return known[1]


def _is_outside(found: Expected, address: str) -> bool:
    """Whether it came from none of the networks that are listed for the site."""
    networks = found.visit.site.networks
    return bool(networks and address) and not within(address, networks)
