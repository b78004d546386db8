"""Acknowledged only after the commit: with the store away it comes again, and counts once."""

from typing import Literal

import aiohttp
import pytest

from bot.app import Bot
from bot.practice import scene
from bot.send.errors import SendError
from tests.handlers.kit import ADMIN, ROWS, OwnStore, Room, open_room

CONTACT = "U0101"


async def test_an_event_is_not_acknowledged_and_comes_again(own_store: OwnStore) -> None:
    async with open_room(own_store.url) as room:
        root = await room.root("alderbeck")
        room.server.sender.ack_seconds = 10
        await own_store.kill()
        await room.server.say(CONTACT, room.channel, "yes", thread_ts=root)
        assert room.server.deliveries[-1].status == 500
        assert room.server.next_due() is not None
        await own_store.start()
        await room.rest()  # the platform sends it again at once
        assert room.server.pending == 0
        assert (await room.visit("alderbeck")).state == "agreed"
        assert len(await room.heard("alderbeck")) == 1


async def test_a_press_that_fails_is_shown_as_failed_and_stays_valid(own_store: OwnStore) -> None:
    async with open_room(own_store.url) as room:
        stamp, action = await room.button("alderbeck", "yes")
        room.server.sender.ack_seconds = 10
        await own_store.kill()
        failed = await room.server.press(CONTACT, room.channel, stamp, action)
        assert failed.status == 500  # which the platform shows at the button
        assert "did not get through" in room.hints(room.channel, CONTACT)[-1]
        await own_store.start()
        assert (await room.visit("alderbeck")).state == "invited"
        assert (await room.server.press(CONTACT, room.channel, stamp, action)).ok
        await room.rest()
        assert (await room.visit("alderbeck")).state == "agreed"


async def test_a_command_that_fails_is_shown_as_failed(own_store: OwnStore) -> None:
    async with open_room(own_store.url) as room:
        room.server.sender.ack_seconds = 10
        await own_store.kill()
        failed = await room.server.command(ADMIN, room.channel, "/wave", "hold")
        assert failed.status == 500
        await own_store.start()
        assert not (await room.wave()).held


async def test_a_registration_is_answered_503_and_taken_later(own_store: OwnStore) -> None:
    async with open_room(own_store.url) as room:
        await own_store.kill()
        assert not await room.registry.registered("HML-4F7K2Q", room.clock.now())
        await own_store.start()
        assert await room.registry.send_waiting()
        assert (await room.visit("alderbeck")).units[0].online


async def test_readiness_tells_of_the_store_and_of_the_chat(own_store: OwnStore) -> None:
    async with open_room(own_store.url) as room:
        assert await room.bot.check() == {"store": True, "chat": True, "taking": True}
        await own_store.kill()
        assert (await room.bot.check())["store"] is False
        await own_store.start()
        room.server.faults.add("http_500", "auth.test", times=10**9)
        room.bot.forget_checks()
        assert (await room.bot.check())["chat"] is False


async def ready(room: Room) -> tuple[int, dict[str, bool]]:
    async with (
        aiohttp.ClientSession(trust_env=False) as session,
        session.get(f"{room.base}/ready") as answer,
    ):
        return answer.status, await answer.json()


@pytest.mark.parametrize("fault", ["http_500", "late"])
async def test_without_the_chat_we_are_ready_to_take_registrations(
    room: Room, fault: Literal["http_500", "late"]
) -> None:
    """A balancer in front of us would else turn them away."""
    played = room.server.faults.add(fault, "auth.test", times=10**9)
    room.bot.forget_checks()
    status, parts = await ready(room)
    played.release()
    assert (status, parts["chat"]) == (200, False)
    room.bot.draining = True
    assert (await ready(room))[0] == 503


async def test_a_start_while_the_chat_is_away_goes_on_as_before(room: Room) -> None:
    await room.close()
    room.server.faults.add("drop_before", times=10**9)
    await room.open()
    identity = room.bot.chat_in.identity
    assert identity.bot_user == room.server.bot_user
    assert identity.team == room.server.workspace.team_id
    await room.server.say(CONTACT, room.channel, "yes")
    assert room.server.deliveries[-1].status == 200  # no look-up of ours is in the way
    assert (await room.visit("alderbeck")).state == "agreed"


async def test_a_first_start_while_the_chat_is_away_fails(store_url: str) -> None:
    fresh = Room(store_url, ROWS)
    await fresh.server.start()
    fresh.channels = scene.furnish(fresh.server, ROWS)
    fresh.server.faults.add("drop_before", times=10**9)
    bot = Bot(fresh.settings(), scene.runbook(), fresh.parts())
    with pytest.raises(SendError):
        await bot.start()
    await bot.stop()
    await fresh.server.stop()


async def test_a_listener_that_fails_is_answered_500(room: Room) -> None:
    async def broken(*_args: object, **_more: object) -> None:
        raise RuntimeError("a mistake of ours")

    kept = room.bot.chat_in.hearing.hear
    room.bot.chat_in.hearing.hear = broken  # type: ignore[method-assign]
    await room.say(CONTACT, "alderbeck", "yes")
    assert room.server.deliveries[-1].status == 500
    room.bot.chat_in.hearing.hear = kept  # type: ignore[method-assign]
    await room.rest()
    assert (await room.visit("alderbeck")).state == "agreed"
