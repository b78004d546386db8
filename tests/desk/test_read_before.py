"""A fact brought in with its subject as it was read before: the commit tells when that is old."""

from bot.desk import Desk
from bot.model.subject import of_visit
from bot.model.visit.state import Visit
from bot.plan.live import go_live
from bot.plan.rows import SiteRow
from tests.desk.conftest import NOW, registered, relay


async def test_a_fact_is_decided_on_what_stands_and_not_on_what_was_read(
    desk: Desk, rows: list[SiteRow]
) -> None:
    await go_live(desk, rows[:1], channels=["C1"], now=NOW)
    subject = of_visit(rows[0].wave, rows[0].site)
    await relay(desk, subject.home)
    old = await desk.look(subject)
    visit = old.state
    assert isinstance(visit, Visit)
    assert not visit.units[0].online
    await desk.receive(registered(rows[0], 1, "registered"), old)
    # By what was read the unit never registered, so its loss would be no news.
    await desk.receive(registered(rows[0], 2, "lost"), old)
    visit = await desk.state(subject)
    assert visit.units[0].lost_at == NOW + 2
    assert [call.cause for call in visit.open_calls] == ["lost"]


async def test_and_a_fact_that_is_known_is_answered_as_before(
    desk: Desk, rows: list[SiteRow]
) -> None:
    await go_live(desk, rows[:1], channels=["C1"], now=NOW)
    subject = of_visit(rows[0].wave, rows[0].site)
    await relay(desk, subject.home)
    old = await desk.look(subject)
    fact = registered(rows[0], 1, "registered")
    first = await desk.receive(fact, old)
    again = await desk.receive(fact, old)
    assert (first.again, again.again) == (False, True)
    assert again.answer == first.answer
