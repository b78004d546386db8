"""The whole way of a chat message: signed request, framework, handlers, desk, commit, answer.

The bot runs in a process of its own, on the embedded store with a sync for every write, as it is
served; each message is the first of its visit's contact, who has been asked what the light shows.
"""

import asyncio
import json
import time
from collections.abc import Sequence
from typing import NamedTuple

from bot.model.subject import of_visit, of_wave
from bot.practice import scene
from bot.practice.chatserver.transport import sign
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


def message(number: int, user: str, text: str) -> bytes:
    """One whole HTTP request with a message in the channel, in the form of the Events API.

    Source: https://docs.slack.dev/apis/events-api (from memory).
    """
    event = {
        "type": "message",
        "channel": CHANNEL,
        "channel_type": "channel",
        "user": user,
        "team": TEAM,
        "text": text,
        "ts": f"{1_773_338_400 + number}.000100",
    }
    payload = {
        "type": "event_callback",
        "team_id": TEAM,
        "api_app_id": "A1",
        "event_id": f"Ev{number:08}",
        "event_time": 1_773_338_400 + number,
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
            for visit in visits:
                await store.put("user", visit.contact.user, of_visit(WAVE, visit.id))
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
