"""The bot killed at the boundaries of a commit and of a claim: nothing half done, nothing lost."""

import subprocess
import sys
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from bot.store.commit import Commit, Done, Known, Loaded, Settle
from bot.store.embedded import Embedded
from bot.store.outbox import Claimed
from bot.store.store import Store
from tests.store.conftest import VISIT, decision, message

HOME = VISIT.home
SITE = "site:alder-green"
NEW = Loaded(0, b"")

#: A bot on the data directory argv[1] that kills itself at the point argv[2].
BOT = """
import asyncio, os, signal, sys
from pathlib import Path
from bot.store.commit import Loaded
from bot.store.embedded import Embedded
from bot.store.store import Store
from tests.store.conftest import VISIT, decision, message

def kill(point):
    if point == sys.argv[2]:
        os.kill(os.getpid(), signal.SIGKILL)

async def main():
    server = Embedded(Path(sys.argv[1]))
    store = Store(await server.start(), probe=kill)
    await store.commit(
        decision(
            Loaded(0, b""), "f1", outbox=(message("m1"),), deadlines={"check": 5},
            entries=(b"{}",), counters={"n": 1},
        )
    )
    await store.claim(VISIT.home, "site:alder-green", "m1", process=0, lease_until=10_000)

asyncio.run(main())
"""


def dies_at(directory: Path, point: str) -> None:
    top = Path(__file__).resolve().parents[2]
    done = subprocess.run(
        [sys.executable, "-c", BOT, str(directory), point],
        cwd=top,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == -9, done.stderr


@pytest.fixture
def data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("d")


@pytest.fixture
async def after(data: Path, point: str) -> AsyncIterator[Store]:
    """What the next bot finds, on the server that the killed one left behind."""
    dies_at(data, point)
    server = Embedded(data)
    store = Store(await server.start())
    assert server.adopted
    yield store
    await store.close()
    await server.stop()


def again() -> Commit:
    return decision(
        NEW, "f1", outbox=(message("m1"),), deadlines={"check": 5}, entries=(b"{}",),
        counters={"n": 1},
    )  # fmt: skip


@pytest.mark.parametrize("point", ["commit.before"])
async def test_before_the_commit_nothing_is_there(after: Store) -> None:
    assert await after.load(VISIT) == NEW
    assert await after.idle(HOME)
    assert await after.next_due(HOME) is None
    assert await after.homes() == [HOME]  # harmless: listed first, so that it is always swept
    assert await after.commit(again()) == Done(1)


@pytest.mark.parametrize("point", ["commit.after"])
async def test_after_the_commit_all_is_there_and_counts_once(after: Store) -> None:
    assert await after.commit(again()) == Known(b"ok")
    assert (await after.load(VISIT)).version == 1
    assert await after.waiting(HOME) == 1
    assert await after.next_due(HOME) == 5
    assert await after.get_counters(HOME) == {"n": 1}
    assert len([line async for line in after.journal(HOME)]) == 1


@pytest.mark.parametrize("point", ["claim.before"])
async def test_before_the_claim_the_message_is_nobodys(after: Store) -> None:
    claim = await after.claim(HOME, SITE, "m1", process=1, lease_until=2)
    assert claim == Claimed(1, doubt=False)


@pytest.mark.parametrize("point", ["claim.after"])
async def test_after_the_claim_it_is_in_doubt_once_the_lease_is_over(after: Store) -> None:
    assert await after.claim(HOME, SITE, "m1", process=1, lease_until=2) == "taken"
    await after.free_leases(HOME)
    claim = await after.claim(HOME, SITE, "m1", process=1, lease_until=2)
    assert claim == Claimed(2, doubt=True)
    await after.settle(HOME, (Settle(message="m1", thread=SITE, state="sent", stamp="1.1"),))
    assert await after.idle(HOME)
    assert list(await after.doubts(HOME)) == [SITE]
