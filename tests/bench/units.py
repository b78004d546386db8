"""Open visits in the store: one walked through its conversation, and copies of it.

The first is decided by the model as always, up to the question that waits for the registration;
the others are the same visit under other names, so each is as large and as far as a real one.
"""

import asyncio
import functools

import msgspec
from msgspec.structs import replace

from bot.model.policy import MINUTE
from bot.model.serial import normal
from bot.model.subject import of_visit
from bot.model.visit.state import Visit
from bot.model.visit.tally import tally
from bot.model.visit.timing import deadlines
from bot.store.commit import Commit, Done
from bot.store.store import Store
from tests.model.kit import Walk, plan

PLACE = "registry.light"
_AT_ONCE = 1024


@functools.cache
def walked() -> Walk:
    """A visit that waits for its unit to register."""
    return Walk(plan()).to(PLACE)


def now() -> int:
    """Wave time at which registrations come: two minutes after the question was asked."""
    return walked().now + 2 * MINUTE


def name(number: int) -> tuple[str, str]:
    """Site and serial of the unit of that number."""
    return f"s{number:06}", f"HML-B{number:06}"


def copy(wave: str, number: int) -> Visit:
    """The walked visit as the one of that number."""
    site, serial = name(number)
    first = walked().visit
    question = first.question
    assert question is not None
    made: Visit = replace(
        first,
        wave=wave,
        id=site,
        site=replace(first.site, name=f"Library {number}"),
        contact=replace(first.contact, key=f"k{number}", user=f"U1{number:06}"),
        units=(replace(first.units[0], serial=serial),),
        question=replace(question, unit=serial if question.unit else ""),
    )
    return made


def first_commit(visit: Visit) -> Commit:
    """The commit that lays the visit down as it is."""
    context = walked().context
    return Commit(
        subject=of_visit(visit.wave, visit.id),
        fact_id=f"laid:{visit.id}",
        version=0,
        hold=0,
        body=msgspec.json.encode(visit),
        outcome=b'{"answer":"ok"}',
        deadlines=deadlines(visit, context.book, context.policy),
        counters=tally(visit),
    )


async def lay(store: Store, visits: list[Visit]) -> None:
    """Lay visits down, findable by the serials of their units."""
    for start in range(0, len(visits), _AT_ONCE):
        part = visits[start : start + _AT_ONCE]
        done = await asyncio.gather(*(store.commit(first_commit(visit)) for visit in part))
        assert all(isinstance(one, Done) for one in done), "the store was not empty"
        await asyncio.gather(
            *(
                store.put("serial", normal(unit.serial), of_visit(visit.wave, visit.id))
                for visit in part
                for unit in visit.units
            )
        )
