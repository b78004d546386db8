"""More than one server: a commit counts when the copies have it, and follows a moving slot."""

import asyncio
import contextlib
import os
import signal
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
import redis
from redis.crc import key_slot

from bot.model.subject import of_wave
from bot.store import keys
from bot.store.commit import Done, Known, Loaded
from bot.store.errors import StoreAway
from bot.store.link import Options
from bot.store.store import Store
from tests.conftest import _free_port_with_bus, running_server
from tests.store.conftest import VISIT, decision

NEW = Loaded(0, b"")
PATIENCE = 20.0


class Servers:
    """Some servers on loopback ports, with a client for each."""

    def __init__(self, urls: list[str]) -> None:
        self.urls = urls
        self.clients = [redis.Redis.from_url(url, decode_responses=True) for url in urls]
        self.pids = [int(client.info("server")["process_id"]) for client in self.clients]

    def until(self, server: int, section: str, name: str, value: object) -> None:
        give_up = time.monotonic() + PATIENCE
        while self.clients[server].info(section)[name] != value:
            assert time.monotonic() < give_up
            time.sleep(0.01)


@contextlib.contextmanager
def servers(top: Path, count: int, *options: str) -> Iterator[Servers]:
    with contextlib.ExitStack() as stack:
        urls = []
        for n in range(count):
            directory = top / str(n)
            directory.mkdir()
            port = _free_port_with_bus()
            address = ["--bind", "127.0.0.1", "--port", str(port)]
            url = f"redis://127.0.0.1:{port}"
            urls.append(stack.enter_context(running_server(directory, url, *address, *options)))
        started = Servers(urls)
        for client in started.clients:
            stack.callback(client.close)
        yield started


@contextlib.contextmanager
def a_pair(top: Path) -> Iterator[Servers]:
    with servers(top, 2, "--repl-diskless-sync-delay", "0") as two:
        port = two.urls[0].rpartition(":")[2]
        two.clients[1].replicaof("127.0.0.1", port)
        two.until(1, "replication", "master_link_status", "up")
        two.until(0, "replication", "connected_slaves", 1)
        yield two


@pytest.fixture(scope="module")
def _pair(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Servers]:
    with a_pair(tmp_path_factory.mktemp("pair")) as two:
        yield two


@pytest.fixture
def pair(_pair: Servers) -> Servers:
    """A server and a copy that has caught up, both empty."""
    _pair.clients[0].flushall()
    assert _pair.clients[0].wait(1, 10_000) == 1
    return _pair


@contextlib.contextmanager
def stopped(pid: int) -> Iterator[None]:
    os.kill(pid, signal.SIGSTOP)
    try:
        yield
    finally:
        os.kill(pid, signal.SIGCONT)


async def test_a_commit_counts_only_when_the_copy_has_it(pair: Servers) -> None:
    store = Store(pair.urls[0], options=Options(min_replicas=1, wait=0.1))
    assert await store.commit(decision(NEW, "f1")) == Done(1)
    read = await store.load(VISIT)
    with stopped(pair.pids[1]), pytest.raises(StoreAway, match="0 copies of 1 wanted"):
        await store.commit(decision(read, "f2"))
    assert await store.commit(decision(read, "f2")) == Known(b"ok")
    await store.close()


async def test_a_known_fact_is_answered_only_when_the_copy_has_it(pair: Servers) -> None:
    """The harmless mark: without a write of its own, a ``WAIT`` on another connection has nothing
    to wait for and is satisfied at once, though the copy may lack the commit itself.
    """
    first = Store(pair.urls[0], options=Options(min_replicas=1, wait=0.1))
    await first.add_home(VISIT.home)
    with stopped(pair.pids[1]):
        with pytest.raises(StoreAway):
            await first.commit(decision(NEW, "f1"))
        again = Store(pair.urls[0], options=Options(min_replicas=1, wait=0.1))
        again._homes = frozenset({VISIT.home})  # nothing else is written on this connection
        with pytest.raises(StoreAway):
            await again.commit(decision(NEW, "f1"))
    assert await again.commit(decision(NEW, "f1")) == Known(b"ok")
    await first.close()
    await again.close()


async def test_reads_do_not_wait_for_copies(pair: Servers) -> None:
    store = Store(pair.urls[0], options=Options(min_replicas=1, wait=0.1))
    with stopped(pair.pids[1]):
        assert await store.load(VISIT) == NEW
    await store.close()


async def test_a_promoted_copy_has_what_was_answered(tmp_path: Path) -> None:
    with a_pair(tmp_path) as two:
        await _promoted(two)


async def _promoted(two: Servers) -> None:
    store = Store(two.urls[0], options=Options(min_replicas=1))
    for n in range(20):
        await store.commit(decision(await store.load(VISIT), f"f{n}"))
    os.kill(two.pids[0], signal.SIGKILL)
    two.clients[1].replicaof("NO", "ONE")
    after = Store(two.urls[1])
    assert (await after.load(VISIT)).version == 20
    assert await after.commit(decision(NEW, "f7")) == Known(b"ok")
    await after.close()
    await store.close()


# --- slots that move ----------------------------------------------------------------------


@contextlib.contextmanager
def two_halves(top: Path) -> Iterator[Servers]:
    with servers(top, 2, "--cluster-enabled", "yes") as two:
        ranges = ((0, 8191), (8192, 16383))
        for client, (low, high) in zip(two.clients, ranges, strict=True):
            client.cluster("addslotsrange", low, high)
        two.clients[0].cluster("meet", "127.0.0.1", two.urls[1].rpartition(":")[2])
        give_up = time.monotonic() + PATIENCE
        for client in two.clients:
            while "cluster_state:ok" not in _raw(client, "CLUSTER", "INFO"):
                assert time.monotonic() < give_up
                time.sleep(0.01)
        yield two


@pytest.fixture(scope="module")
def halves(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Servers]:
    """A cluster of two servers, each with half of the slots. Not emptied between tests."""
    with two_halves(tmp_path_factory.mktemp("halves")) as two:
        yield two


def _raw(client: "redis.Redis", *command: str) -> str:
    answer = client.execute_command(*command)  # type: ignore[no-untyped-call]
    if isinstance(answer, dict):
        return "\n".join(f"{name}:{value}" for name, value in answer.items())
    return str(answer)


def _homes(low: bool, prefix: str = "wave") -> str:
    """A wave whose slot lies in the low or the high half."""
    names = (f"{prefix}-{n}" for n in range(100))
    return next(name for name in names if (key_slot(b"{w:%b}" % name.encode()) < 8192) == low)


async def test_a_batch_is_split_over_the_servers(halves: Servers) -> None:
    store = Store(halves.urls[0], cluster=True)
    waves = [of_wave(_homes(low=True)), of_wave(_homes(low=False))]
    made = [decision(NEW, "f1", subject=wave) for wave in waves]
    assert await asyncio.gather(*(store.commit(c) for c in made)) == [Done(1), Done(1)]
    found = [
        client.exists(f"{{{waves[n].home}}}:s:wave") for n, client in enumerate(halves.clients)
    ]
    assert found == [1, 1]
    await store.close()


async def test_a_slot_that_moves_is_followed(halves: Servers) -> None:
    """First ASK, while the slot is on its way, then MOVED, when it has arrived.

    A script touches several keys, which a server refuses (TRYAGAIN) while they may lie on either
    side: the outcome is the desk's to retry, under the same fact id, until the slot has arrived.
    """
    store = Store(halves.urls[0], cluster=True)
    wave = of_wave(_homes(low=True, prefix="moving"))
    slot = str(key_slot(keys.of(wave.home).hold))
    assert await store.load(wave) == NEW  # knows where the slot is
    ids = [_raw(client, "CLUSTER", "MYID") for client in halves.clients]
    _raw(halves.clients[1], "CLUSTER", "SETSLOT", slot, "IMPORTING", ids[0])
    _raw(halves.clients[0], "CLUSTER", "SETSLOT", slot, "MIGRATING", ids[1])
    assert await store.load(wave) == NEW
    with pytest.raises(StoreAway, match="TRYAGAIN"):
        await store.commit(decision(NEW, "f1", subject=wave))
    for client in reversed(halves.clients):
        _raw(client, "CLUSTER", "SETSLOT", slot, "NODE", ids[1])
    assert await store.commit(decision(NEW, "f1", subject=wave)) == Done(1)
    assert (await store.load(wave)).version == 1
    assert halves.clients[1].exists(f"{{{wave.home}}}:s:wave") == 1
    await store.close()


async def test_a_lost_server_hurts_only_its_own_slots(tmp_path: Path) -> None:
    with two_halves(tmp_path) as two:
        two.clients[0].config_set("cluster-require-full-coverage", "no")
        store = Store(two.urls[0], cluster=True)
        here, there = of_wave(_homes(low=True)), of_wave(_homes(low=False))
        await store.load(there)
        os.kill(two.pids[1], signal.SIGKILL)
        results = await asyncio.gather(store.load(here), store.load(there), return_exceptions=True)
        assert results[0] == NEW
        assert isinstance(results[1], StoreAway)
        await store.close()
