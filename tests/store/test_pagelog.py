"""What stands on a page: in order, each message once, on one server and in a cluster."""

import pytest

from bot.model.message import Message
from bot.store.pagelog import in_order
from bot.store.store import Store

HOME = "w:page-test"


def message(number: str, slot: str = "") -> Message:
    name = f"{HOME}/v:alderbeck:{number}"
    return Message(id=name, thread="page:alderbeck", template="agreed", slot=slot)


@pytest.mark.parametrize("cluster", [False, True])
async def test_each_message_stands_there_once_in_its_order(
    store_url: str, empty_cluster_url: str, cluster: bool
) -> None:
    store = Store(empty_cluster_url if cluster else store_url, cluster=cluster)
    await store.connect()
    try:
        for number in ("10:1", "9:2p", "9:2p", "9:10", "9:0p"):
            await store.page_put(HOME, "alderbeck", message(number))
        await store.page_put(HOME, "alderbeck", message("11:1", slot="s"))
        await store.page_put(HOME, "alderbeck", message("12:1", slot="s"))
        found = await store.page_read(HOME, "alderbeck")
        numbers = [m.id.partition("alderbeck:")[2] for m in found]
        assert numbers == ["9:0p", "9:2p", "9:10", "10:1", "12:1"]
        assert await store.page_read(HOME, "ambermere") == []
    finally:
        await store.close()


def test_what_has_no_number_comes_first() -> None:
    odd = message("1:1")
    other = Message(id="safety:x", thread="page:alderbeck", template="danger")
    assert in_order([odd, other]) == [other, odd]
