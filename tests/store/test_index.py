"""What lies outside the homes."""

import asyncio

import pytest

from bot.model.subject import of_visit
from bot.store import index, keys
from bot.store.store import Store
from tests.store.conftest import VISIT

OTHER = of_visit("hollowmere", "birch-lane")


async def test_a_value_leads_to_its_subjects(store: Store) -> None:
    await store.put("serial", "HML4F7K2Q", VISIT)
    await store.put("serial", "HML4F7K2Q", OTHER)
    await store.put("serial", "HML4F7K2Q", OTHER)
    await store.put("user", "HML4F7K2Q", OTHER)
    assert await store.find("serial", "HML4F7K2Q") == [VISIT, OTHER]
    await store.drop("serial", "HML4F7K2Q", VISIT)
    assert await store.find("serial", "HML4F7K2Q") == [OTHER]
    assert await store.find("serial", "HML000000") == []


async def test_what_was_found_lately_is_behind_others_by_a_second_and_never_behind_ourselves(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    at = 100.0
    monkeypatch.setattr("bot.store.index.monotonic", lambda: at)
    assert await store.find_lately("serial", "HML4F7K2Q") == []
    key = keys.index("serial", "HML4F7K2Q")
    await store._write(key, "SADD", key, str(VISIT))  # by another process
    assert await store.find_lately("serial", "HML4F7K2Q") == [VISIT]  # nothing is looked for anew
    await store._write(key, "SADD", key, str(OTHER))
    at = 100.9
    assert await store.find_lately("serial", "HML4F7K2Q") == [VISIT]
    at = 101.1
    assert await store.find_lately("serial", "HML4F7K2Q") == [VISIT, OTHER]
    await store.drop("serial", "HML4F7K2Q", VISIT)
    assert await store.find_lately("serial", "HML4F7K2Q") == [OTHER]


async def test_the_places_of_the_index_that_are_remembered_are_few(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(index, "_MOST", 3)
    for number in range(5):
        await store.put("serial", f"HML{number}", VISIT)
        await store.find_lately("serial", f"HML{number}")
    assert len(store._lately) == 3


async def test_what_is_known_of_a_person_grows_and_can_be_erased(store: Store) -> None:
    await store.person_put("p1", {"name": "Rowan Pell", "phone": "07700 900123"})
    await store.person_put("p1", {"name": "Rowan Pell"})
    assert await store.person_get("p1") == {"name": "Rowan Pell", "phone": "07700 900123"}
    await store.person_erase("p1")
    assert await store.person_get("p1") == {}


async def test_one_process_at_a_time_holds_a_channels_lease(store: Store) -> None:
    takers = await asyncio.gather(*(store.lease("C1", f"bot {n}", 60_000) for n in range(5)))
    assert takers.count(True) == 1
    owner = f"bot {takers.index(True)}"
    assert await store.lease("C1", owner, 60_000)
    await store.unlease("C1", "somebody else")
    assert not await store.lease("C1", "somebody else", 60_000)
    await store.unlease("C1", owner)
    assert await store.lease("C1", "somebody else", 60_000)


async def test_a_shared_limit_fills_steadily(store: Store) -> None:
    async def take(now: int, count: int = 1) -> int:
        return await store.take("chat", now=now, per_minute=60, size=3, count=count)

    assert [await take(1_000) for _ in range(4)] == [0, 0, 0, 1_000]
    assert await take(1_999) == 1
    assert await take(2_000) == 0
    assert await take(2_000) == 1_000
    assert await take(60_000, count=3) == 0  # it holds three, however long nobody took
    assert await take(60_000) == 1_000
    assert await take(59_000) == 2_000
    assert await take(60_500) == 500  # a clock set back and put right gave nothing twice


async def test_clock_and_life_signs(store: Store) -> None:
    assert await store.clock_get() is None
    assert await store.alive_last() is None
    await store.clock_set(1_790_000_000_123)
    await store.alive_mark(1_790_000_000_456)
    assert await store.clock_get() == 1_790_000_000_123
    assert await store.alive_last() == 1_790_000_000_456


async def test_a_clock_at_zero_is_a_clock(store: Store) -> None:
    await store.clock_set(0)
    assert await store.clock_get() == 0


async def test_small_notes_are_kept(store: Store) -> None:
    assert await store.note_get("identity") is None
    await store.note_put("identity", b'{"bot":"B1"}')
    assert await store.note_get("identity") == b'{"bot":"B1"}'
