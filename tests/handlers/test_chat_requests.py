"""Requests to the chat's address that are not as the platform sends them: 4xx, nothing done."""

import json
import time

import pytest

from bot.practice import scene
from bot.practice.chatserver.transport import sign
from tests.handlers.kit import FORM, Room

EVENT = json.dumps({"type": "event_callback", "team_id": "T1", "event": {"type": "message"}})


async def test_the_platform_may_prove_the_address(room: Room) -> None:
    assert await room.server.verify_url()


async def test_a_good_request_is_taken(room: Room) -> None:
    assert await room.signed(EVENT) == 200


@pytest.mark.parametrize(
    "stamp",
    ["", "yesterday", "1e9", "12.5", "-5", "9" * 30, "\N{ARABIC-INDIC DIGIT ONE}", " ", "0x10"],
)
async def test_a_garbage_time_stamp_is_401(room: Room, stamp: str) -> None:
    signature = sign(scene.SIGNING_SECRET, stamp, EVENT.encode())
    assert await room.raw(EVENT, signature, stamp) == 401


async def test_a_wrong_signature_is_401(room: Room) -> None:
    stamp = str(int(time.time()))
    assert await room.raw(EVENT, "v0=" + "0" * 64, stamp) == 401
    assert await room.raw(EVENT, "", stamp) == 401
    assert await room.raw(EVENT, sign("another", stamp, EVENT.encode()), stamp) == 401
    assert await room.raw(EVENT + " ", sign(scene.SIGNING_SECRET, stamp, b"x"), stamp) == 401


async def test_an_old_request_is_401(room: Room) -> None:
    assert await room.signed(EVENT, age=301) == 401
    assert await room.signed(EVENT, age=-301) == 401
    assert await room.signed(EVENT, age=200) == 200


@pytest.mark.parametrize(
    ("body", "kind"),
    [
        (b"{", "application/json"),
        (b"[]", "application/json"),
        (b"", "application/json"),
        (b"\xff\xfe", "application/json"),
        (b'"text"', "application/json"),
        (b"[" * 100_000, "application/json"),
        (b"payload=%7B", FORM),
        (b"payload=%5B%5D", FORM),
        (b"payload=" + b"%5B" * 50_000, FORM),
    ],
)
async def test_a_malformed_body_is_400_whoever_signed_it(
    room: Room, body: bytes, kind: str
) -> None:
    assert await room.signed(body, kind=kind) == 400
    assert await room.raw(body, "v0=00", str(int(time.time())), kind=kind) == 400


async def test_a_body_that_is_too_large_is_413(room: Room) -> None:
    assert await room.signed(b"x" * 1_100_000) == 413


async def test_nothing_of_all_this_reached_the_store(room: Room) -> None:
    before = len(await room.journal())
    await room.raw(EVENT, "v0=00", "soon")
    await room.signed(b"{")
    assert len(await room.journal()) == before
