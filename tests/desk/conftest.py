"""A real desk on a real store, with the demo runbook and two sites."""

from collections.abc import AsyncIterator

import pytest

from bot.desk import Desk
from bot.desk.surroundings import Surroundings
from bot.model.fact import Registered
from bot.model.policy import Policy
from bot.model.roster import Roster, Staff
from bot.model.subject import of_visit
from bot.plan.live import go_live
from bot.plan.rows import SiteRow
from bot.practice import scene
from bot.speak.lexicon import languages, lexicon
from bot.store.store import Store

NOW = 1_773_336_600_000  # 2026-03-12 17:30 UTC
ADMIN = "U0001"


@pytest.fixture
async def store(store_url: str) -> AsyncIterator[Store]:
    made = Store(store_url)
    await made.connect()
    yield made
    await made.close()


@pytest.fixture
def desk(store: Store) -> Desk:
    return Desk(
        store,
        Surroundings(
            book=scene.runbook(),
            lexicons={lang: lexicon(lang) for lang in languages()},
            policy=Policy(),
            roster=Roster(
                (
                    Staff("U0002", "Ines Calloway", frozenset({"oncall"})),
                    Staff(ADMIN, "Maud Sterling", frozenset({"admin"})),
                )
            ),
        ),
    )


@pytest.fixture
def rows() -> list[SiteRow]:
    return scene.sites(None, 1)[:3]


def registered(row: SiteRow, number: int, kind: str = "registered") -> Registered:
    """The unit of a site reports, so many milliseconds after ``NOW``."""
    return Registered(
        id=f"reg:registry:{number}",
        subject=of_visit(row.wave, row.site),
        received_at=NOW + number,
        serial=row.units[0].serial,
        source="registry",
        kind=kind,  # type: ignore[arg-type]
    )


async def relay(desk: Desk, home: str) -> None:
    """Deliver the follow-up facts that wait in the outbox, as the sender does."""
    from bot.send.relay import Relay

    relay = Relay(desk.store, desk.store, desk)
    while await relay.run(home, "relay"):
        pass


async def planned(desk: Desk, rows: list[SiteRow]) -> None:
    await go_live(desk, rows, channels=["CWAVE01"], now=NOW)
    await relay(desk, f"w:{rows[0].wave}")
