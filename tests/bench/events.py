"""Signed registrations, as whole HTTP requests made before the clock runs."""

import json
import time

from bot.practice import scene
from handlers.signing import sign

PATHS = {"floor": "/floor", "ours": f"/registrations/{scene.SOURCE}"}


def request(which: str, serial: str, event: str) -> bytes:
    """One request that says that a unit registered; ``event`` is the id of the event."""
    body = json.dumps(
        {
            "specversion": "1.0",
            "id": event,
            "source": "https://registry.example.org/units",
            "type": "org.example.unit.registered",
            "time": "2026-10-20T18:30:00+00:00",
            "datacontenttype": "application/json",
            "data": {"serial": serial},
        }
    ).encode()
    stamp = int(time.time())
    head = (
        f"POST {PATHS[which]} HTTP/1.1\r\n"
        "Host: 127.0.0.1\r\n"
        "Content-Type: application/cloudevents+json\r\n"
        f"webhook-id: {event}\r\n"
        f"webhook-timestamp: {stamp}\r\n"
        f"webhook-signature: {sign(scene.WEBHOOK_SECRET, event, stamp, body)}\r\n"
        f"Content-Length: {len(body)}\r\n\r\n"
    )
    return head.encode() + body
