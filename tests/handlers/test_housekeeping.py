"""What is done once a day, and a chat that was away when the bot was started anew."""

import shutil
from pathlib import Path
from typing import NamedTuple

import pytest
from pydantic import SecretStr

from bot.desk.anchors import FOLDER, faults
from bot.live import CHAT_SECONDS, Live
from bot.model.policy import MINUTE
from bot.practice import scene
from bot.practice.chatserver.server import APP_TOKEN
from bot.settings import StoreSettings
from bot.store.embedded import Embedded
from tests.handlers.kit import Room, open_room
from tests.handlers.test_live import Ticks, live_of, pass_both, stands
from tests.handlers.test_sockets import until

DAY = 24 * 60 * MINUTE


class Usage(NamedTuple):
    total: int
    used: int
    free: int


def keeping(room: Room, folder: Path) -> Live:
    live = live_of(room, Ticks())
    live.settings = live.settings.model_copy(
        update={"store": StoreSettings(url=room.url, data=folder)}
    )
    return live


async def test_each_day_has_its_anchor(room: Room, tmp_path: Path) -> None:
    live = keeping(room, tmp_path)
    await live.housekeep()
    (first,) = (tmp_path / FOLDER).iterdir()
    assert first.name == "2026-03-12.json"  # the demo wave's evening, UTC
    kept = first.read_bytes()
    await room.say("U0101", "alderbeck", "yes")
    await live.housekeep()  # the same day: nothing new
    assert first.read_bytes() == kept
    room.clock.move(room.clock.now() + DAY)
    await live.housekeep()
    assert {p.name for p in (tmp_path / FOLDER).iterdir()} == {first.name, "2026-03-13.json"}
    assert await faults(room.bot.store, tmp_path / FOLDER) == []


async def test_an_anchor_that_cannot_be_written_ends_nothing(room: Room, tmp_path: Path) -> None:
    (tmp_path / FOLDER).write_text("a file where the folder should be")
    await keeping(room, tmp_path).housekeep()


async def test_a_disk_that_is_nearly_full_is_told_once_a_day(
    room: Room, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def told() -> list[str]:
        texts = [str(m["text"]) for m in room.server.messages(scene.TEAM_CHANNEL)]
        return [text for text in texts if "% of the disk" in text]

    live = keeping(room, tmp_path)
    room.bot.embedded = Embedded(tmp_path)
    room.bot.embedded.directory = tmp_path
    monkeypatch.setattr(shutil, "disk_usage", lambda _: Usage(1000, 900, 100))
    await live.housekeep()
    assert told() == []
    monkeypatch.setattr(shutil, "disk_usage", lambda _: Usage(1000, 901, 99))
    await live.housekeep()
    await live.housekeep()
    assert len(told()) == 1
    room.clock.move(room.clock.now() + DAY)
    await live.housekeep()
    assert len(told()) == 2


async def test_it_is_done_by_the_scheduler(room: Room) -> None:
    live = live_of(room, Ticks())
    assert live.housekeep in [job.func for job in live.scheduler().get_jobs()]


# --- the chat away over a restart ---------------------------------------------------------------


async def test_a_chat_that_is_away_over_a_restart_is_one_gap(room: Room) -> None:
    await room.to_start()
    root, question = await room.root("alderbeck"), (await room.visit("alderbeck")).question
    assert question is not None
    ticks = Ticks()
    fault = room.server.faults.add("http_500", times=10**9)
    await live_of(room, ticks).look_at_chat()
    since = room.clock.now()
    await pass_both(room, ticks, 15 * 60)
    await room.close()
    await room.server.say("U0101", room.channel, "hello", thread_ts=root)
    room.server.sender.restore([])
    await room.open()
    live = live_of(room, ticks)
    await live.catch_up()
    assert stands(room)
    await live.caught_up()
    assert stands(room)  # until the chat is looked at
    await pass_both(room, ticks, 5 * 60)
    await live.look_at_chat()
    room.server.faults.ordered.remove(fault)
    await live.look_at_chat()
    await live.caught_up()
    await room.rest()
    assert not stands(room)
    (told,) = room.posts(scene.TEAM_CHANNEL, "outage")
    assert "for 20 min" in told["text"], told["text"]
    assert len([f for f in await room.heard("alderbeck") if f"{room.channel}:" in f]) == 2
    assert room.clock.now() - since >= 20 * MINUTE
    again = live_of(room, ticks)
    await again.catch_up()
    assert again._chat_since is None  # the note is gone


async def test_a_short_chat_outage_over_a_restart_lets_times_go_on(room: Room) -> None:
    ticks = Ticks()
    fault = room.server.faults.add("http_500", times=10**9)
    await live_of(room, ticks).look_at_chat()
    await room.close()
    await room.open()
    live = live_of(room, ticks)
    await live.catch_up()
    await live.caught_up()
    room.server.faults.ordered.remove(fault)
    await live.look_at_chat()
    await live.caught_up()
    assert not stands(room)
    assert room.posts(scene.TEAM_CHANNEL, "outage") == []


async def test_without_a_websocket_nobody_is_heard_and_times_stand(store_url: str) -> None:
    async with open_room(store_url, mode="socket", app_token=SecretStr(APP_TOKEN)) as room:
        await room.server.sockets.connected()
        ticks = Ticks()
        live = live_of(room, ticks)
        room.server.faults.add("http_500", "apps.connections.open", times=10**9)
        await room.server.sockets.cut()
        sockets = room.bot.sockets
        assert sockets is not None
        await until(lambda: not sockets.connected)
        await live.look_at_chat()
        assert not stands(room)  # a websocket that is made anew is no outage
        await pass_both(room, ticks, 60 + CHAT_SECONDS)
        await live.look_at_chat()
        assert stands(room)
        await room.server.say("U0101", room.channel, "yes")
        room.server.faults.clear()
        await until(lambda: sockets.connected)
        await live.look_at_chat()
        await live.caught_up()
        await room.rest()
        assert not stands(room)
        assert (await room.visit("alderbeck")).state == "agreed"
