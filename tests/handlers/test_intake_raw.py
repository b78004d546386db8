"""Requests as no library would send them: each is answered, none by 5xx, nothing of them is logged.

Sources: RFC 9110 (415 for a content coding that is not taken, section 15.5.16; 417 for an
expectation, section 15.5.18) and RFC 9112 (framing).
"""

import asyncio
import json
import logging
import time

import pytest
from pydantic import SecretStr

from tests.handlers.intake_kit import (
    CLOUD,
    OPERATION,
    TOKEN,
    YANG_XML,
    event,
    source,
    sources,
    units,
)
from tests.handlers.kit import Room, open_room

GOOD = json.dumps(event(1)).encode()
AUTH = ("Authorization", f"Bearer {TOKEN}")
TYPE = ("Content-Type", CLOUD)
HERE = "/registrations/registry"
Head = tuple[str, str]


def request(*head: Head, body: bytes = GOOD, path: str = HERE, verb: str = "POST") -> bytes:
    """Headers as latin-1, so that any byte can be sent."""
    lines = [f"{verb} {path} HTTP/1.1", "Host: x", *(f"{name}: {value}" for name, value in head)]
    return ("\r\n".join(lines) + "\r\n\r\n").encode("latin-1") + body


def sized(body: bytes = GOOD) -> Head:
    return ("Content-Length", str(len(body)))


def of(value: object) -> bytes:
    """A good request with that as its body."""
    body = json.dumps(value).encode()
    return request(AUTH, TYPE, sized(body), body=body)


NOW = str(int(time.time()))
CASES: list[tuple[bytes, int]] = [
    (request(AUTH, TYPE, sized()), 202),
    *((request(AUTH, TYPE, sized(), ("Content-Encoding", c)), 415) for c in ("gzip", "br", "x")),
    (request(AUTH, ("Content-Type", ";;;"), sized()), 415),
    (request(AUTH, ("Content-Type", "\xff\xfe/\x80"), sized()), 415),
    (request(AUTH, sized()), 415),
    (request(AUTH, TYPE, ("Transfer-Encoding", "chunked"), body=b"zz\r\nab\r\n0\r\n\r\n"), 400),
    (
        request(
            AUTH,
            TYPE,
            ("Transfer-Encoding", "chunked"),
            body=f"{len(GOOD):x}\r\n".encode() + GOOD + b"\r\n0\r\n\r\n",
        ),
        202,
    ),
    (request(("Authorization", "Bearer \xff\xfe"), TYPE, sized()), 401),
    (request(("Authorization", "Basic \xff\xfe"), TYPE, sized()), 401),
    (request(("Authorization", f"Bearer {TOKEN}\x00"), TYPE, sized()), 400),
    (
        request(
            ("webhook-id", "\xff"),
            ("webhook-timestamp", NOW),
            ("webhook-signature", "v1,\xff"),
            TYPE,
            sized(),
        ),
        401,
    ),
    (request(("webhook-id", "x" * 9000), TYPE, sized()), 400),
    (request(AUTH, ("Content-Type", "application/json"), ("ce-specversion", "\xff"), sized()), 400),
    (request(AUTH, TYPE, sized(), path="/registrations/%ff%00%0a"), 404),
    (request(AUTH, TYPE, sized(), path="/elsewhere"), 404),
    (request(TYPE, sized(), path=f"{HERE}?access_token=%ff"), 401),
    (request(AUTH, TYPE, sized(), ("Expect", "something")), 417),
    (request(AUTH, TYPE, ("Content-Length", "-5")), 400),
    (request(AUTH, TYPE, ("Content-Length", "5"), ("Content-Length", "7")), 400),
    (request(("WebHook-Request-Origin", "\xff"), verb="OPTIONS", body=b""), 200),
    (
        request(
            ("Authorization", "Basic zz"),
            ("Content-Type", YANG_XML),
            ("Accept", "\xff"),
            sized(b"<"),
            path=OPERATION,
            body=b"<",
        ),
        401,
    ),
    (of(event("a\0b")), 202),
    (of(event("c", "\0\n")), 202),
    (of(event("d", "A\tB")), 202),
    (of(event("e", "x", time="\0")), 202),
    (request(AUTH, TYPE, sized(), ("Upgrade", "websocket"), ("Connection", "upgrade")), 202),
    (b"\x16\x03\x01\x02\x00\x01\x00", 400),  # somebody speaks TLS to it
]


async def status_of(room: Room, sent: bytes) -> int:
    host, _, port = room.base.removeprefix("http://").partition(":")
    reader, writer = await asyncio.open_connection(host, int(port))
    try:
        writer.write(sent)
        async with asyncio.timeout(5):
            line = await reader.readline()
    finally:
        writer.close()
    return int(line.split()[1])


async def test_each_is_answered_and_nothing_of_it_is_logged(
    store_url: str, caplog: pytest.LogCaptureFixture
) -> None:
    chosen = sources(source(tokens=(SecretStr(TOKEN),)), units())
    async with open_room(store_url, registration=chosen) as room:
        found = [(await status_of(room, sent), wanted) for sent, wanted in CASES]
        assert [got for got, _ in found] == [wanted for _, wanted in found]
    assert TOKEN not in caplog.text
    assert "Traceback" not in caplog.text
    bad = [r for r in caplog.records if r.levelno >= logging.ERROR and "aiohttp" in r.name]
    assert bad == []
    assert not any("\n" in r.getMessage() for r in caplog.records)


async def test_a_sender_that_goes_away_within_its_body_is_no_error_of_ours(
    room: Room, caplog: pytest.LogCaptureFixture
) -> None:
    host, _, port = room.base.removeprefix("http://").partition(":")
    for _ in range(3):
        _, writer = await asyncio.open_connection(host, int(port))
        writer.write(request(TYPE, ("Content-Length", "500"), body=b"{"))
        await writer.drain()
        writer.close()
        await writer.wait_closed()
    assert await status_of(room, request(TYPE, sized())) == 401
    assert "Traceback" not in caplog.text
