"""What is looked at for a decision: the rota only where it may decide something."""

from typing import Any

import pytest
from msgspec.structs import replace

from bot.desk import Desk
from bot.model.fact import Actor, AnyFact, Due, Ordered, Said
from bot.model.policy import MINUTE
from bot.model.roster import Roster, Staff, Way
from bot.model.subject import ROTA, Subject, of_visit, of_wave
from bot.model.visit.state import Visit
from bot.plan.rows import SiteRow
from bot.store.commit import Loaded
from tests.desk.conftest import ADMIN, planned


def due(subject: Subject, at: int) -> Due:
    return Due(id="d1", subject=subject, received_at=at, kind="begin", version=1)


def order(subject: Subject, at: int) -> Ordered:
    actor = Actor(ADMIN, admin=True)
    return Ordered(id="o1", subject=subject, received_at=at, actor=actor, order="hand_back")


def said(subject: Subject, at: int) -> Said:
    return Said(id="s1", subject=subject, received_at=at, actor=Actor("U0101"), words="yes")


async def looked(
    desk: Desk, monkeypatch: pytest.MonkeyPatch, fact: AnyFact, loaded: Loaded, state: Any
) -> tuple[bool | None, int]:
    """Whether somebody is known to be reachable, and how often the rota was read for it."""
    read: list[Subject] = []
    load = desk.store.load

    async def counted(subject: Subject) -> Loaded:
        read.append(subject)
        return await load(subject)

    with monkeypatch.context() as patch:
        patch.setattr(desk.store, "load", counted)
        context = await desk.surroundings.context(desk.store, fact, loaded, state)
    return context.reachable, read.count(ROTA)


async def test_the_rota_is_read_where_an_evening_may_begin_and_nowhere_else(
    desk: Desk, rows: list[SiteRow], monkeypatch: pytest.MonkeyPatch
) -> None:
    await planned(desk, rows)
    subject = of_visit(rows[0].wave, rows[0].site)
    loaded, visit, _ = await desk.look(subject)
    assert isinstance(visit, Visit)
    start = visit.start
    agreed, running = replace(visit, state="agreed"), replace(visit, state="running")
    begins = due(subject, start)
    assert await looked(desk, monkeypatch, begins, loaded, agreed) == (None, 0)  # none are tested

    oncall = Staff("U0002", "Ines Calloway", frozenset({"oncall"}), ways=(Way("chat"),))
    desk.surroundings.roster = Roster((oncall,))
    for fact, state, found in (
        (begins, agreed, (False, 1)),
        (order(subject, start), agreed, (False, 1)),
        (begins, replace(visit, state="planned"), (False, 1)),
        (due(subject, start - MINUTE), agreed, (None, 0)),
        (said(subject, start), agreed, (None, 0)),
        (due(subject, start + 60 * MINUTE), running, (None, 0)),
        (order(subject, start + 60 * MINUTE), running, (None, 0)),
    ):
        assert await looked(desk, monkeypatch, fact, loaded, state) == found, (fact, state.state)
    wave = of_wave(rows[0].wave)
    loaded, state, _ = await desk.look(wave)
    assert await looked(desk, monkeypatch, due(wave, start), loaded, state) == (False, 1)
