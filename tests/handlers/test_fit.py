"""What may be lost with the settings found on the store's server."""

import pytest

from bot.fit import SCOPES, store_findings
from tests.handlers.kit import OwnStore

GOOD = {
    "appendonly": "yes",
    "appendfsync": "always",
    "maxmemory-policy": "noeviction",
    "min-replicas-to-write": "1",
    "connected_slaves": "1",
}


def test_nothing_is_lost_with_the_strictest_settings() -> None:
    lines, problems = store_findings(GOOD, 1)
    assert problems == []
    assert lines == [
        "a restart or a power cut of the store loses nothing that was acknowledged",
        "a failover to a replica that had it loses nothing",
    ]


@pytest.mark.parametrize(
    ("change", "replicas", "says"),
    [
        ({"maxmemory-policy": "allkeys-lru"}, 1, "maxmemory-policy is allkeys-lru"),
        ({"appendonly": "no"}, 1, "appendonly is no"),
        ({"connected_slaves": "0"}, 1, "store.min_replicas is 1 and 0 replicas are connected"),
    ],
)
def test_what_makes_a_store_unfit(change: dict[str, str], replicas: int, says: str) -> None:
    _, problems = store_findings({**GOOD, **change}, replicas)
    assert any(says in problem for problem in problems)


@pytest.mark.parametrize(
    ("change", "replicas", "says"),
    [
        ({"appendfsync": "everysec"}, 1, "about two seconds"),
        ({"appendfsync": "no"}, 1, "half a minute"),
        ({"connected_slaves": "0"}, 0, "no replica"),
        ({}, 0, "set store.min_replicas"),
        ({"min-replicas-to-write": "0"}, 1, "set min-replicas-to-write 1"),
    ],
)
def test_what_may_be_lost_is_told(change: dict[str, str], replicas: int, says: str) -> None:
    lines, problems = store_findings({**GOOD, **change}, replicas)
    assert problems == []
    assert any(says in line for line in lines)


async def test_a_real_server_is_asked(own_store: OwnStore) -> None:
    from bot.store.store import Store

    store = Store(own_store.url)
    found = await store.server_settings()
    await store.close()
    assert found["appendonly"] == "yes"
    assert found["appendfsync"] == "always"
    assert found["maxmemory-policy"] == "noeviction"
    assert found["connected_slaves"] == "0"
    assert found["role"] == "master"


def test_the_scopes_are_those_of_the_manifest() -> None:
    from pathlib import Path

    import yaml

    manifest = Path(__file__).resolve().parents[2] / "deploy" / "chat-app-manifest.yaml"
    asked = yaml.safe_load(manifest.read_text(encoding="utf-8"))["oauth_config"]["scopes"]["bot"]
    assert set(asked) == SCOPES
