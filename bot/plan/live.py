"""From a checked site list to a live wave: rows are staged, one commit makes them live."""

import asyncio
import hashlib
from collections import Counter
from collections.abc import Awaitable, Callable, Iterable, Sequence
from functools import partial
from itertools import islice
from typing import TypeVar

import msgspec

from bot.desk import Desk
from bot.model.fact import Actor, Planned
from bot.model.people import by_page, person_key
from bot.model.policy import minutes
from bot.model.subject import of_visit, of_wave
from bot.model.visit.state import Person, Plan, Site, Unit, Visit
from bot.model.wave.state import WavePlan
from bot.plan.rows import PersonRow, SiteRow

_T = TypeVar("_T")
_R = TypeVar("_R")
_AT_ONCE = 512
_OPENS_BEFORE = minutes(60)
#: States of a visit in which serial, stage and start may still be changed by an import.
_REPLANNED = ("planned", "held", "invited", "agreed", "rebook", "backed_out")


class RowNote(msgspec.Struct, frozen=True):
    """What an import does to one site: ``new``, ``same``, ``changed`` or ``under way``."""

    wave: str
    site: str
    what: str
    kept: tuple[str, ...] = ()  # columns that are not changed because the visit is under way

    def __str__(self) -> str:
        kept = f"; not changed: {', '.join(self.kept)}" if self.kept else ""
        return f"{self.wave}/{self.site}: {self.what}{kept}"


def plan_of(row: SiteRow, channel: int) -> Plan:
    """The plan of one visit. ``channel`` is the number of the wave's channel that carries it."""
    assert row.start is not None
    return Plan(
        site=Site(
            name=row.name or row.site,
            tz=row.tz,
            phone=row.phone,
            address=row.address,
            link_type=row.link_type,
            circuit=row.circuit,
            carrier=row.carrier,
            fault_line=row.carrier_fault_line,
            networks=tuple(row.networks),
            depends=tuple(row.depends),
            cables=tuple(row.cables),
            checks=tuple(row.checks),
            where=row.where,
            access=row.access,
            opening_hours=row.opening_hours,
            alarm_hours=row.alarm_hours,
            ready=tuple(row.ready),
            vehicle=row.vehicle,
        ),
        units=tuple(Unit(u.label or u.serial, u.model, u.version or "") for u in row.units),
        contact=_person(row.contact),
        deputy=_person(row.deputy) if row.deputy else None,
        start=row.start,
        end=row.end,
        channel=channel,
    )


def _person(row: PersonRow) -> Person:
    return Person(person_key(row.user), row.user, row.lang)


async def compare(desk: Desk, rows: Iterable[SiteRow]) -> list[RowNote]:
    """What bringing these rows in would do, without doing it."""
    return await _for_each(rows, partial(_compared, desk))


async def _compared(desk: Desk, row: SiteRow) -> RowNote:
    visit = await desk.state(of_visit(row.wave, row.site))
    return _note(row, visit if isinstance(visit, Visit) else None)


async def _for_each(things: Iterable[_T], doing: Callable[[_T], Awaitable[_R]]) -> list[_R]:
    """Many at a time, since calls to the store travel together; in the order of ``things``."""
    found: list[_R] = []
    rest = iter(things)
    while some := list(islice(rest, _AT_ONCE)):
        found += await asyncio.gather(*(doing(thing) for thing in some))
    return found


def _note(row: SiteRow, visit: Visit | None) -> RowNote:
    if visit is None:
        return RowNote(row.wave, row.site, "new")
    plan = plan_of(row, visit.channel)
    kept = []
    if [u.serial for u in plan.units] != [u.serial for u in visit.units]:
        kept.append("serials")
    if plan.start != visit.start:
        kept.append("start")
    if visit.state not in _REPLANNED or visit.stopped_at is not None:
        return RowNote(row.wave, row.site, "under way", tuple(kept))
    same = not kept and _particulars(plan) == _particulars(visit)
    return RowNote(row.wave, row.site, "same" if same else "changed")


def _particulars(of: Plan | Visit) -> tuple[object, ...]:
    """All that a list says of a visit but serials and start, in a form that can be compared."""
    people = [(p.user, p.lang) if p else None for p in (of.contact, of.deputy)]
    units = [(u.model, u.version) for u in of.units]
    return (of.site, people, units, of.end)


async def go_live(
    desk: Desk,
    rows: Sequence[SiteRow],
    *,
    channels: Sequence[str],
    now: int,
    actor: Actor | None = None,
) -> list[RowNote]:
    """Bring the rows in. The rows of each wave are staged, then one commit makes them live.

    The same rows again change nothing: their facts have the same ids. Raises ``StoreError``.
    """
    notes = await compare(desk, rows)
    people = {p.user: p for row in rows for p in (row.contact, row.deputy) if p is not None}
    await _for_each(people.values(), partial(_keep_person, desk))
    for wave in sorted({row.wave for row in rows}):
        await _wave_live(desk, wave, [r for r in rows if r.wave == wave], channels, now, actor)
    return notes


async def _keep_person(desk: Desk, person: PersonRow) -> None:
    nameless = "" if by_page(person.user) else person.user
    fields = {"name": person.name or nameless, "mobile": person.mobile}
    if person.mail:
        fields["mail"] = person.mail
    await desk.store.person_put(person_key(person.user), fields)


async def _wave_live(
    desk: Desk,
    wave: str,
    rows: Sequence[SiteRow],
    channels: Sequence[str],
    now: int,
    actor: Actor | None,
) -> None:
    subject = of_wave(wave)
    plans = {
        row.site: msgspec.json.encode(plan_of(row, number % len(channels)))
        for number, row in enumerate(rows)
    }
    digest = hashlib.sha256(b"\n".join(plans[site] for site in sorted(plans))).hexdigest()[:16]
    staged = f"{digest}-{now}"
    await desk.store.stage(subject.home, staged, plans)
    opens = min(row.start for row in rows if row.start is not None) - _OPENS_BEFORE
    zones = Counter(row.tz for row in rows)
    plan = WavePlan(tuple(channels), opens, staged, len(plans), zones.most_common(1)[0][0])
    await desk.receive(
        Planned(
            id=f"import:{wave}:{staged}",
            subject=subject,
            received_at=now,
            plan=msgspec.json.encode(plan),
            actor=actor,
        )
    )
