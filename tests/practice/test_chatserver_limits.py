"""Rate limits, counted in wave time.

Source: "Rate limits", https://docs.slack.dev/apis/web-api/rate-limits (tiers, one message a
second per channel, Retry-After); the tier of each method is on its page. How large a burst
is allowed is not published: the stand-in's numbers are its own.
"""

from collections.abc import AsyncIterator
from typing import Any

import pytest
from slack_sdk.errors import SlackApiError

from bot.practice.chatserver.answers import RateLimited
from bot.practice.chatserver.ratelimit import POST_BURST, RateLimits
from bot.practice.chatserver.specs import SPECS
from tests.practice.chatserver_kit import Clock, Room, open_room, refused


@pytest.fixture
async def room() -> AsyncIterator[Room]:
    async with open_room() as opened:
        yield opened


async def limited(call: Any) -> int:
    """Retry-After of a call that must be answered 429, in seconds."""
    with pytest.raises(SlackApiError) as caught:
        await call
    response = caught.value.response
    assert response.status_code == 429
    assert response["error"] == "ratelimited"
    return int(response.headers["Retry-After"])


async def test_a_channel_takes_a_short_burst_and_then_one_a_second(room: Room) -> None:
    for _ in range(POST_BURST):
        await room.client.chat_postMessage(channel=room.channel, text="a")
    call = room.client.chat_postMessage(channel=room.channel, text="a")
    assert await limited(call) == 1
    assert len(room.chat.messages(room.channel)) == POST_BURST
    room.clock.on(1_000)
    await room.client.chat_postMessage(channel=room.channel, text="a")
    assert await limited(room.client.chat_postMessage(channel=room.channel, text="a")) == 1


async def test_another_channel_has_a_burst_of_its_own(room: Room) -> None:
    for _ in range(POST_BURST):
        await room.client.chat_postMessage(channel=room.channel, text="a")
    other = room.chat.add_channel("wave-2")
    await room.client.chat_postMessage(channel=other, text="a")


async def test_one_a_second_can_go_on_for_ever() -> None:
    clock = Clock()
    limits = RateLimits(clock)
    for _ in range(600):
        clock.on(1_000)
        limits.post("C1")


def test_all_channels_together_have_a_limit_a_minute() -> None:
    limits = RateLimits(Clock())
    for number in range(limits.posts_a_minute):
        limits.post(f"C{number}")
    with pytest.raises(RateLimited) as caught:
        limits.post("C-one-more")
    assert caught.value.retry_after == 60


async def test_edits_are_tier_three(room: Room) -> None:
    root = await room.client.chat_postMessage(channel=room.channel, text="a")
    where: dict[str, Any] = {"channel": room.channel, "ts": root["ts"]}
    for number in range(50):
        await room.client.chat_update(**where, text=str(number))
    room.clock.on(20_000)
    assert await limited(room.client.chat_update(**where, text="one more")) == 40
    room.clock.on(40_000)
    await room.client.chat_update(**where, text="one more")


async def test_a_refused_call_counts_too(room: Room) -> None:
    for _ in range(20):
        await refused(room.client.pins_add(channel=room.channel, timestamp="1600000000.000001"))
    call = room.client.pins_add(channel=room.channel, timestamp="1600000000.000001")
    assert await limited(call) == 60


async def test_limits_can_be_switched_off(room: Room) -> None:
    room.chat.limits.on = False
    for _ in range(POST_BURST + 5):
        await room.client.chat_postMessage(channel=room.channel, text="a")


@pytest.mark.parametrize(
    ("method", "tier"),
    [
        ("chat.update", 3),
        ("chat.delete", 3),
        ("chat.postEphemeral", 4),
        ("conversations.history", 3),
        ("conversations.replies", 3),
        ("conversations.open", 3),
        ("conversations.info", 3),
        ("conversations.members", 4),
        ("pins.add", 2),
        ("pins.remove", 2),
        ("pins.list", 2),
        ("reactions.add", 3),
        ("users.info", 4),
        ("users.list", 2),
        ("team.info", 3),
    ],
)
def test_tiers(method: str, tier: int) -> None:
    # Source: https://docs.slack.dev/reference/methods/METHOD, "Facts".
    assert SPECS[method].tier == tier
