"""``musterline serve`` as a process of its own: an orderly end, a sudden one, a second bot."""

import asyncio
import itertools
import signal
from collections.abc import AsyncIterator

import aiohttp
import pytest

from bot.practice.child import store_process
from bot.practice.registry import Registry
from tests.faults.record import fact_of, registered
from tests.faults.served import Place, a_place


@pytest.fixture
async def place(tmp_path_factory: pytest.TempPathFactory) -> AsyncIterator[Place]:
    async with a_place(tmp_path_factory.mktemp("s")) as found:
        yield found


class Flood:
    """Registrations side by side, each sent until it is taken, until the bot is gone."""

    def __init__(self, port: int, prefix: str) -> None:
        self._registry = Registry(f"http://127.0.0.1:{port}")
        self._idents = (f"{prefix}-{n}" for n in itertools.count())
        self.taken: list[str] = []
        self.enough = asyncio.Event()
        self._gone = asyncio.Event()
        self._tasks = [asyncio.create_task(self._send()) for _ in range(4)]

    async def _send(self) -> None:
        for ident in self._idents:
            while not await self._registry._send(ident, registered(ident, f"HML-{ident}")):
                if self._gone.is_set():
                    return
                await asyncio.sleep(0.01)
            self.taken.append(ident)
            if len(self.taken) >= 30:
                self.enough.set()

    async def ends(self) -> list[str]:
        """After the bot has ended: the ids that were answered 2xx."""
        self._gone.set()
        await asyncio.gather(*self._tasks)
        await self._registry.close()
        return self.taken


async def test_what_was_accepted_before_sigterm_is_kept(place: Place) -> None:
    served = await place.serve()
    flood = Flood(served.port, "A")
    await asyncio.wait_for(flood.enough.wait(), 30)
    served.process.terminate()
    assert await served.ends() == 0, served.said
    taken = await flood.ends()
    assert not store_process(place.data)  # the store ended with it
    again = await place.serve()
    facts = await place.registrations()
    assert [ident for ident in taken if facts[fact_of(ident)] != 1] == []
    again.process.terminate()
    assert await again.ends() == 0, again.said


async def test_what_was_accepted_before_sigkill_is_kept_and_the_store_is_adopted(
    place: Place,
) -> None:
    served = await place.serve()
    flood = Flood(served.port, "B")
    await asyncio.wait_for(flood.enough.wait(), 30)
    served.process.kill()
    assert await served.ends() == -signal.SIGKILL
    taken = await flood.ends()
    left = store_process(place.data)
    assert left
    again = await place.serve()
    assert store_process(place.data) == left
    facts = await place.registrations()
    assert [ident for ident in taken if facts[fact_of(ident)] != 1] == []
    assert max(count for name, count in facts.items() if name.startswith("reg:")) == 1
    async with (
        aiohttp.ClientSession(trust_env=False) as session,
        session.get(f"http://127.0.0.1:{again.port}/ready") as answer,
    ):
        assert answer.status == 200


async def test_a_second_bot_on_the_same_embedded_store_is_refused(place: Place) -> None:
    first = await place.serve()
    second = await place.serve()
    assert await second.ends() == 2
    said = "".join(second.said)
    assert f"another bot (process {first.process.pid}) uses the embedded store" in said
    assert "set the store's URL so that both share one server" in said
    assert "Traceback" not in said
    assert first.process.returncode is None
    first.process.terminate()
    assert await first.ends() == 0, first.said
