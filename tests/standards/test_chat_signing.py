"""Signatures of the chat platform's requests, against its published example.

Source: "Verifying requests from Slack", https://docs.slack.dev/authentication/
verifying-requests-from-slack (the worked example: signing secret, time stamp, body, signature;
requests older than five minutes are not to be believed).
"""

from collections.abc import AsyncIterator

import pytest
from slack_sdk.signature import Clock, SignatureVerifier

from bot.practice.chatserver.transport import sign
from tests.handlers.kit import Room, open_room

SECRET = "8f742231b10e8888abcd99yyyzzz85a5"
STAMP = "1531420618"
BODY = (
    "token=xyzz0WbapA4vBCDEFasx0q6G&team_id=T1DC2JH3J&team_domain=testteamnow"
    "&channel_id=G8PSS9T3V&channel_name=foobar&user_id=U2CERLKJA&user_name=roadrunner"
    "&command=%2Fwebhook-collect&text=&response_url=https%3A%2F%2Fhooks.slack.com"
    "%2Fcommands%2FT1DC2JH3J%2F397700885554%2F96rGlfmibIGlgcZRskXaIFfN"
    "&trigger_id=398738663015.47445629121.803a0bc887a14d10d2c447fce8b6703c"
)
SIGNATURE = "v0=a2114d57b48eac39b9ad189dd8316235a7b4a8d21a10bd27519666489c69b503"


class Then(Clock):
    """The time of the example."""

    def now(self) -> float:
        return float(STAMP) + 10


def test_the_stand_in_signs_as_the_platform_does() -> None:
    assert sign(SECRET, STAMP, BODY.encode()) == SIGNATURE


def test_the_framework_accepts_the_published_example_in_its_time_only() -> None:
    headers = {"x-slack-request-timestamp": STAMP, "x-slack-signature": SIGNATURE}
    assert SignatureVerifier(SECRET, Then()).is_valid_request(BODY, headers)
    assert not SignatureVerifier(SECRET).is_valid_request(BODY, headers)  # years old


@pytest.fixture
async def room(store_url: str) -> AsyncIterator[Room]:
    async with open_room(store_url) as opened:
        yield opened


async def test_the_published_example_is_too_old_for_us(room: Room) -> None:
    assert await room.raw(BODY, SIGNATURE, STAMP, kind="application/x-www-form-urlencoded") == 401
