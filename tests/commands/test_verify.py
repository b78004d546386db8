"""``musterline verify`` and ``status``: a whole record, and one that somebody has changed."""

import asyncio
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import msgspec
import pytest
import redis

from bot.store.embedded import Embedded
from tests.commands.kit import Folder, said, sites


@pytest.fixture
def imported(folder: Folder) -> Folder:
    folder.write("sites.csv", sites())
    assert folder.run("import", "sites.csv").returncode == 0
    return folder


@contextmanager
def opened(folder: Folder) -> Iterator["redis.Redis"]:
    """The store's own server, as somebody with access to the machine reaches it."""
    embedded = Embedded(folder.path / "data")
    with asyncio.Runner() as runner:
        url = runner.run(embedded.start())
        try:
            with redis.Redis.from_url(url) as client:
                yield client
        finally:
            runner.run(embedded.stop())


def test_a_whole_record(imported: Folder) -> None:
    done = imported.run("verify")
    assert done.returncode == 0
    assert said(done).endswith(": all as recorded.\n")


def test_a_changed_snapshot_is_found(imported: Folder) -> None:
    with opened(imported) as client:
        key = "{w:w1}:s:wave"
        body = msgspec.json.decode(client.hget(key, "body"))  # type: ignore[arg-type]
        body["state"] = "closed" if body["state"] != "closed" else "open"
        client.hset(key, "body", msgspec.json.encode(body).decode())
    done = imported.run("verify")
    assert done.returncode == 1
    assert "w:w1/wave" in said(done)
    assert said(done).splitlines()[-1].endswith("1 problems.")


def test_a_changed_journal_breaks_the_chain(imported: Folder) -> None:
    with opened(imported) as client:
        lines: Any = client.xrange("{w:w1}:j")
        first = dict(lines[0][1])
        first[b"e"] = first[b"e"].replace(b"C0000WAVE1", b"C0000WAVE2")
        assert first != lines[0][1]
        client.delete("{w:w1}:j")
        for stamp, fields in [(lines[0][0], first), *lines[1:]]:
            client.xadd("{w:w1}:j", fields, id=stamp)
    done = imported.run("verify")
    assert done.returncode == 1
    assert "the chain breaks at version 1" in said(done)


def test_a_removed_journal_entry_is_found(imported: Folder) -> None:
    with opened(imported) as client:
        lines: Any = client.xrange("{w:w1}:j")
        stamp, _ = next(line for line in lines if line[1][b"s"] == b"v:ambermere")
        client.xdel("{w:w1}:j", stamp)
    done = imported.run("verify")
    assert done.returncode == 1
    assert "w:w1/v:ambermere: " in said(done)


def test_a_journal_taken_away_whole_is_found(imported: Folder) -> None:
    with opened(imported) as client:
        client.delete("{w:w1}:j")
    done = imported.run("verify")
    assert done.returncode == 1
    assert "w:w1/wave: there is a snapshot, but nothing in the journal." in said(done)


@pytest.mark.parametrize("command", ["verify", "status"])
def test_a_folder_without_a_store_is_said_not_made(folder: Folder, command: str) -> None:
    done = folder.run(command)
    assert done.returncode == 2
    assert said(done).startswith("there is no store in ")
    assert not (folder.path / "data").exists()


def test_status_of_one_wave_and_as_json(imported: Folder) -> None:
    assert said(imported.run("status", "w1")).startswith("Wave w1: ")
    done = imported.run("status", "w2")
    assert (done.returncode, said(done)) == (2, "There is no wave w2.\n")
    body = msgspec.json.decode(imported.run("status", "--json").stdout)
    assert body["wave"] == "w1"
