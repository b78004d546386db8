"""The scripts: what they touch is declared, and a server that forgot them gets them again."""

import asyncio
import contextlib
import re
from importlib import resources

import pytest
import redis

from bot.store.commit import Done, Loaded
from bot.store.store import Store
from tests.store.conftest import VISIT, decision, message

SOURCES = {
    file.name: file.read_text(encoding="utf-8")
    for file in resources.files("bot.store.scripts").iterdir()
    if file.name.endswith(".lua")
}
CALL = re.compile(r"redis\.call\(\s*'([A-Z]+)'\s*,\s*([^,)]+)")


def test_every_script_is_here() -> None:
    expected = {"commit", "claim", "release", "ready", "heads", "lease", "bucket"}
    assert set(SOURCES) == {f"{name}.lua" for name in expected}


@pytest.mark.parametrize("name", sorted(SOURCES))
def test_a_script_has_the_header_and_touches_declared_keys_only(name: str) -> None:
    source = SOURCES[name]
    assert re.match(r"#!lua( flags=no-writes)?\n", source)
    calls = CALL.findall(source)
    assert calls
    assert len(calls) == source.count("redis.call(")
    undeclared = [call for call in calls if not call[1].startswith("KEYS[")]
    assert undeclared == []


def test_the_checker_of_calls_sees_a_key_that_is_made_up() -> None:
    assert CALL.findall("redis.call('GET', 'a' .. name)") == [("GET", "'a' .. name")]
    assert CALL.findall("redis.call('GET', KEYS[1])") == [("GET", "KEYS[1]")]


@pytest.mark.parametrize("name", sorted(SOURCES))
def test_a_one_node_cluster_refuses_a_key_of_another_slot(
    name: str, empty_cluster_url: str
) -> None:
    """The header is what makes it refuse: without it, the same script is let through."""
    header, _, rest = SOURCES[name].partition("\n")
    trespass = "redis.call('GET', '{elsewhere}:x')\n"
    with contextlib.closing(redis.Redis.from_url(empty_cluster_url)) as client:
        with pytest.raises(redis.ResponseError, match="do not hash to the same slot"):
            client.eval(f"{header}\n{trespass}{rest}", 1, "{here}:x")
        assert client.eval(f"{trespass} return 7", 1, "{here}:x") == 7


async def test_lost_scripts_are_sent_again(store: Store, request: pytest.FixtureRequest) -> None:
    url = request.getfixturevalue("cluster_url" if "cluster" in request.node.name else "store_url")
    await store.commit(decision(Loaded(0, b""), "f1", outbox=(message("m1"),)))
    with contextlib.closing(redis.Redis.from_url(url)) as client:
        client.script_flush()
    assert await store.commit(decision(await store.load(VISIT), "f2")) == Done(2)
    with contextlib.closing(redis.Redis.from_url(url)) as client:
        client.script_flush()
    (head,) = await store.ready(VISIT.home, 10, wave=0, process=0)
    assert head.message.id == "m1"


async def test_scripts_lost_in_the_middle_of_a_batch_keep_its_order(plain: Store) -> None:
    """All of one subject in one pipeline: the first to arrive wins, the others are stale."""
    results = await asyncio.gather(
        *(plain.commit(decision(Loaded(0, b""), f"f{n}")) for n in range(10))
    )
    assert results[0] == Done(1)
    assert not any(isinstance(result, Done) for result in results[1:])
