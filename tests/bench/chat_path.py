"""The whole way of a chat message: signed request, framework, handlers, desk, commit, answer.

The bot runs in a process of its own, on the embedded store with a sync for every write, as it is
served; each message is the first in its visit's thread, from the contact, who has been asked what
the light shows. Nobody can be sent to, so sending is tried again behind the measurement's back.
"""

import asyncio
import contextlib
import json
import time
from collections.abc import Sequence
from typing import NamedTuple

import redis

from bot.desk.mirror import thread_of
from bot.model.subject import of_visit, of_wave
from bot.model.visit.state import Visit
from bot.practice import scene
from bot.practice.chatserver.transport import sign
from bot.store import keys
from bot.store.store import Store
from tests.bench import units
from tests.bench.bench import (
    Failed,
    Server,
    empty_store,
    fresh_store,
    middle,
    quick_writing,
    store_cpu,
)

WAVE = "bench"
CHANNEL, TEAM = "C1", "T1"
#: Messages before those that count.
_WARM = 20
_SINCE = 1_773_338_400  # seconds since 1970


def root(number: int) -> str:
    """Stamp of the first message of a visit's thread."""
    return f"{_SINCE + number}.000100"


def message(number: int, user: str, text: str) -> bytes:
    """One whole HTTP request with a message in a thread, in the form of the Events API.

    Source: https://docs.slack.dev/apis/events-api (from memory).
    """
    event = {
        "type": "message",
        "channel": CHANNEL,
        "channel_type": "channel",
        "user": user,
        "team": TEAM,
        "text": text,
        "ts": f"{_SINCE + number}.000200",
        "thread_ts": root(number),
    }
    payload = {
        "type": "event_callback",
        "team_id": TEAM,
        "api_app_id": "A1",
        "event_id": f"Ev{number:08}",
        "event_time": _SINCE + number,
        "event": event,
    }
    body = json.dumps(payload, ensure_ascii=False).encode()
    stamp = str(int(time.time()))
    head = (
        "POST /chat/events HTTP/1.1\r\n"
        "Host: 127.0.0.1\r\n"
        "Content-Type: application/json\r\n"
        f"X-Slack-Request-Timestamp: {stamp}\r\n"
        f"X-Slack-Signature: {sign(scene.SIGNING_SECRET, stamp, body)}\r\n"
        f"Content-Length: {len(body)}\r\n\r\n"
    )
    return head.encode() + body


class Path(NamedTuple):
    """One message's way, in microseconds: from request to answer, and CPU of bot and store."""

    wall: float
    cpu: float


async def path_of(texts: Sequence[str]) -> Path:
    """One message after the other; of their times the middle one, of CPU the mean.

    Raises ``Failed`` if one was not taken in and kept.
    """
    number = len(texts) + _WARM
    visits = [units.copy(WAVE, n) for n in range(number)]
    people = [visit.contact.user for visit in visits]
    said = [*texts[:_WARM], *texts]
    if len(said) < number:
        raise Failed(f"{len(texts)} messages are too few to measure with")
    wanted = [message(n, people[n], said[n]) for n in range(number)]
    async with fresh_store() as url, empty_store(url) as store:
        with quick_writing(url):
            await units.lay(store, visits)
            await _place(store, url, visits)
        server = Server("ours", url, units.now())
        try:
            await _send(server.port, wanted[:_WARM])
            before = server.cpu() + store_cpu(url)
            times = await _send(server.port, wanted[_WARM:])
            cpu = server.cpu() + store_cpu(url) - before
        finally:
            server.stop()
        heard = set()
        async for line in store.journal(of_wave(WAVE).home):
            if any(b'"heard"' in event for event in line.events):
                heard.add(line.subject)
    if len(heard) != number:
        raise Failed(f"{number} messages were answered, {len(heard)} are in the journal")
    return Path(middle(times) * 1e6, cpu / len(times) * 1e6)


async def _place(store: Store, url: str, visits: Sequence[Visit]) -> None:
    """Let visits be found by their contacts and threads, as after the first message was sent."""
    with contextlib.closing(redis.Redis.from_url(url)) as client:
        for number, visit in enumerate(visits):
            subject, name = of_visit(WAVE, visit.id), thread_of(visit, private=False)
            await store.put("user", visit.contact.user, subject)
            await store.put("thread", f"{CHANNEL}:{root(number)}", subject)
            for field, value in (("channel", CHANNEL), ("root", root(number))):
                client.hset(keys.of(subject.home).thread(name), field, value)


async def _send(port: int, requests: Sequence[bytes]) -> list[float]:
    """Seconds each request took; one connection, one at a time."""
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    times = []
    for request in requests:
        since = time.perf_counter()
        writer.write(request)
        head = await reader.readuntil(b"\r\n\r\n")
        _, mark, length = head.lower().partition(b"content-length:")
        await reader.readexactly(int(length.split(b"\r\n", 1)[0]) if mark else 0)
        times.append(time.perf_counter() - since)
        if head[9:12] != b"200":
            raise Failed(f"a message was answered {head.splitlines()[0].decode()}")
    writer.close()
    return times
