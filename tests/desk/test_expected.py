"""A registration that meets a visit whose serials are not in the index yet is not lost."""

import asyncio
from typing import Literal

import pytest

from bot.desk import Desk
from bot.model.fact import Registered
from bot.model.subject import ASIDE, Subject, of_visit, of_wave
from bot.model.visit.state import Unit
from bot.plan.live import go_live
from bot.plan.rows import SiteRow
from bot.send.relay import Relay
from handlers.routing import expecting
from tests.desk.conftest import NOW, planned, relay

HOME = of_wave("hollowmere-1").home


async def committed_only(desk: Desk, rows: list[SiteRow], monkeypatch: pytest.MonkeyPatch) -> None:
    """The visits are committed, and their hints for the index still wait in the outbox."""
    await go_live(desk, rows, channels=["CWAVE01"], now=NOW)
    put = desk.store.put

    async def later(kind: str, value: str, subject: Subject) -> None:
        raise RuntimeError("the index is written later")

    monkeypatch.setattr(desk.store, "put", later)
    await Relay(desk.store, desk.store, desk).run(HOME, "relay")
    monkeypatch.setattr(desk.store, "put", put)


async def arrive(
    desk: Desk,
    fact_id: str,
    serial: str,
    at: int = NOW + 5,
    kind: Literal["registered", "lost"] = "registered",
) -> str:
    """As the registration handler does it."""
    found = await expecting(desk, serial)
    subject = ASIDE if found is None else found.subject
    fact = Registered(
        id=fact_id, subject=subject, received_at=at, serial=serial, source="reg", kind=kind
    )
    return (await desk.receive(fact)).answer


async def unit_of(desk: Desk, row: SiteRow) -> Unit:
    unit: Unit = (await desk.state(of_visit(row.wave, row.site))).units[0]
    return unit


async def test_it_is_brought_to_its_visit_when_the_index_has_caught_up(
    desk: Desk, rows: list[SiteRow], monkeypatch: pytest.MonkeyPatch
) -> None:
    await committed_only(desk, rows, monkeypatch)
    row, other = rows[:2]
    spoken = row.units[0].serial.lower().replace("-", " ")
    assert await arrive(desk, "reg:1", spoken) == "kept"
    assert not (await unit_of(desk, row)).online
    await relay(desk, HOME)
    unit = await unit_of(desk, row)
    assert (unit.online, unit.registered_at) == (True, NOW + 5)
    assert not (await unit_of(desk, other)).online


async def test_it_counts_once_however_often_the_hints_come(
    desk: Desk, rows: list[SiteRow], monkeypatch: pytest.MonkeyPatch
) -> None:
    await committed_only(desk, rows, monkeypatch)
    serial = rows[0].units[0].serial
    await arrive(desk, "reg:1", serial)
    await relay(desk, HOME)
    await planned(desk, rows)  # the same import again writes the same hints
    subject = of_visit(rows[0].wave, rows[0].site)
    await desk.expects(serial, subject)
    await arrive(desk, "reg:1", serial)  # the sender had no answer, and sends it again
    lines = [line async for line in desk.store.journal(HOME, subject)]
    assert [line.fact_id for line in lines if line.fact_id.startswith("reg:")] == ["reg:1"]


async def test_registered_and_lost_again_come_in_their_order(
    desk: Desk, rows: list[SiteRow], monkeypatch: pytest.MonkeyPatch
) -> None:
    await committed_only(desk, rows, monkeypatch)
    serial = rows[0].units[0].serial
    await arrive(desk, "reg:1", serial)
    await arrive(desk, "reg:2", serial, NOW + 9, "lost")
    await relay(desk, HOME)
    unit = await unit_of(desk, rows[0])
    assert (unit.registered_at, unit.lost_at) == (NOW + 5, NOW + 9)


async def test_what_came_before_any_visit_expected_it_stays_aside(
    desk: Desk, rows: list[SiteRow]
) -> None:
    assert await arrive(desk, "reg:1", rows[0].units[0].serial, NOW - 1) == "kept"
    await planned(desk, rows)
    assert not (await unit_of(desk, rows[0])).online


async def test_many_that_arrive_while_the_index_is_written_all_count(
    desk: Desk, rows: list[SiteRow], monkeypatch: pytest.MonkeyPatch
) -> None:
    await committed_only(desk, rows, monkeypatch)
    facts = [(f"reg:{n}", row.units[0].serial) for n, row in enumerate(rows)]
    await asyncio.gather(relay(desk, HOME), *(arrive(desk, *fact) for fact in facts))
    for row in rows:  # what was kept after the hint was written is what the handler looks for
        await desk.expects(row.units[0].serial, of_visit(row.wave, row.site))
    assert all([(await unit_of(desk, row)).online for row in rows])
