"""What this process remembers of a subject saves reading it, and is never the last word."""

import contextlib

import pytest
import redis

from bot.desk import Desk
from bot.desk.recent import Recent
from bot.model.fact import Actor, Ordered
from bot.model.subject import Subject, of_visit, of_wave
from bot.plan.rows import SiteRow
from bot.store.commit import Commit
from tests.desk.conftest import ADMIN, NOW, planned, registered


@pytest.fixture
def other(desk: Desk) -> Desk:
    """The desk of another process on the same store."""
    return Desk(desk.store, desk.surroundings)


async def test_the_next_fact_of_a_subject_needs_no_reading(desk: Desk, rows: list[SiteRow]) -> None:
    await planned(desk, rows)
    await desk.receive(registered(rows[0], 1))
    before = desk.store._reads.batches
    await desk.receive(registered(rows[0], 2, "lost"))
    assert desk.store._reads.batches == before
    visit = await desk.state(of_visit(rows[0].wave, rows[0].site))
    assert visit.units[0].lost_at == NOW + 2


async def test_what_another_process_did_meanwhile_counts(
    desk: Desk, other: Desk, rows: list[SiteRow]
) -> None:
    await planned(desk, rows)
    await desk.receive(registered(rows[0], 1))
    await other.receive(registered(rows[0], 2, "lost"))
    # By what this desk remembers the unit is online, and this would be a repeat.
    assert (await desk.receive(registered(rows[0], 3))).answer == "ok"
    visit = await desk.state(of_visit(rows[0].wave, rows[0].site))
    assert visit.units[0].online


async def test_what_needs_no_comparison_is_decided_on_what_stands(
    desk: Desk, other: Desk, rows: list[SiteRow]
) -> None:
    """An order that changes nothing is committed without one."""
    await planned(desk, rows)
    wave = of_wave(rows[0].wave)

    def resume(number: int) -> Ordered:
        return Ordered(
            id=f"o{number}",
            subject=wave,
            received_at=NOW,
            actor=Actor(ADMIN, admin=True),
            order="resume",
        )

    assert (await desk.receive(resume(1))).answer == "nothing"
    hold = Ordered(
        id="hold", subject=wave, received_at=NOW, actor=Actor(ADMIN, admin=True), order="hold"
    )
    assert (await other.receive(hold)).answer == "ok"
    assert (await desk.receive(resume(2))).answer == "ok"
    assert not await desk.store.held(wave.home)


async def test_another_record_at_the_same_version_is_read(
    desk: Desk, other: Desk, rows: list[SiteRow], store_url: str
) -> None:
    """As after a failover to a server that had not heard of the last commits."""
    await planned(desk, rows)
    await desk.receive(registered(rows[0], 1))
    with contextlib.closing(redis.Redis.from_url(store_url)) as client:
        client.flushall()
    await planned(other, rows)
    await other.receive(registered(rows[0], 9))
    assert (await desk.receive(registered(rows[0], 2, "lost"))).answer == "ok"
    visit = await desk.state(of_visit(rows[0].wave, rows[0].site))
    assert visit.units[0].registered_at == NOW + 9
    assert visit.units[0].lost_at == NOW + 2


def test_only_the_latest_are_remembered() -> None:
    recent = Recent(3)

    def made(name: str, body: bytes = b"{}") -> Commit:
        return Commit(
            subject=Subject("w:x", name), fact_id="f", version=0, hold=0, body=body, outcome=b""
        )

    for name in ("a", "b", "c"):
        recent.committed(made(name), 1, name)
    assert recent.get(Subject("w:x", "a")) is not None  # used, so it stays
    recent.committed(made("d"), 1, "d")
    assert recent.get(Subject("w:x", "b")) is None
    recent.committed(made("a", b""), 2, "a")  # a deadline alone: the version moved
    assert recent.get(Subject("w:x", "a")) is None
