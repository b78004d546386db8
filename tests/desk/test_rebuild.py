"""Counters, indexes and anchors: derived, made again, and held against the journal."""

from pathlib import Path

import pytest
import redis

from bot.desk import Desk
from bot.desk.anchors import AnchorFault, faults, keep, take
from bot.desk.rebuild import rebuild
from bot.desk.replay import verify
from bot.model.subject import of_visit, of_wave
from bot.plan.rows import SiteRow
from handlers.clock import Sweep
from tests.desk.conftest import NOW, planned, relay

HOME = of_wave("hollowmere-1").home


async def test_counters_kept_are_the_counters_derived(desk: Desk, rows: list[SiteRow]) -> None:
    await planned(desk, rows)
    await Sweep(desk).run(NOW)
    counters = await desk.store.get_counters(HOME)
    assert (counters["units"], counters["visits:invited"]) == (len(rows), len(rows))
    assert (await verify(desk.store)).problems == []


async def test_a_lost_counter_and_a_lost_index_are_made_again(
    desk: Desk, rows: list[SiteRow], store_url: str
) -> None:
    await planned(desk, rows)
    serial = rows[0].units[0].serial
    subject = of_visit(rows[0].wave, rows[0].site)
    with redis.Redis.from_url(store_url) as client:
        client.hset(f"{{{HOME}}}:n", "units", "999")
    await desk.store.drop("serial", serial, subject)
    assert [p for p in (await verify(desk.store)).problems if "counter units" in p]
    assert await rebuild(desk.store) == len(rows)
    assert (await verify(desk.store)).problems == []
    assert await desk.store.find("serial", serial) == [subject]


async def test_an_anchor_shows_a_journal_that_was_cut(
    desk: Desk, rows: list[SiteRow], store_url: str, tmp_path: Path
) -> None:
    await planned(desk, rows)
    keep(await take(desk.store, NOW), tmp_path, "2026-03-12")
    assert await faults(desk.store, tmp_path) == []
    await Sweep(desk).run(NOW)
    await relay(desk, HOME)
    assert await faults(desk.store, tmp_path) == [], "what came later is no fault"
    with redis.Redis.from_url(store_url) as client:
        client.xtrim(f"{{{HOME}}}:j", maxlen=1)
    assert await faults(desk.store, tmp_path)


async def test_an_anchor_of_a_day_is_written_once(
    desk: Desk, rows: list[SiteRow], tmp_path: Path
) -> None:
    await planned(desk, rows)
    path = keep(await take(desk.store, NOW), tmp_path, "2026-03-12")
    before = path.read_bytes()
    await Sweep(desk).run(NOW)
    keep(await take(desk.store, NOW + 1), tmp_path, "2026-03-12")
    assert path.read_bytes() == before


async def test_a_file_that_is_no_anchor_is_named(desk: Desk, tmp_path: Path) -> None:
    (tmp_path / "2026-03-12.json").write_text("{}")
    with pytest.raises(AnchorFault, match=r"2026-03-12\.json"):
        await faults(desk.store, tmp_path)
