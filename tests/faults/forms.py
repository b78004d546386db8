"""The forms in which device managers send while things break: an event, a batch, a report."""

import base64
from collections.abc import Sequence
from typing import Literal, NamedTuple

import msgspec

from bot.practice import scene
from bot.practice.registry import signed_headers
from handlers.intake.cloudevents import BATCHED
from handlers.intake.progress import MODULE, reported
from tests.faults.record import fact_of, registered

Form = Literal["event", "batch", "report"]
FORMS: tuple[Form, ...] = ("event", "batch", "report")
#: A source of its own takes the reports; each unit is known by its serial and this password.
REPORTS, PASSWORD = "units", "reports-of-units-0001"
_JSON = "application/yang-data+json"
_DEPTH = 32

SETTINGS = f"""
[[registration.sources]]
name = "{REPORTS}"
passwords = ["{PASSWORD}"]
progress = true
"""


class Sent(NamedTuple):
    """One request: what it brings, by the ids of the facts that it becomes."""

    path: str
    headers: dict[str, str]
    body: bytes
    facts: tuple[str, ...]


def event(name: str, serial: str) -> Sent:
    """A CloudEvent in structured mode."""
    body = registered(name, serial)
    return Sent(_path(scene.SOURCE), signed_headers(name, body), body, (fact_of(name),))


def batch(name: str, serials: Sequence[str]) -> Sent:
    """CloudEvents in batched mode, one for each serial."""
    names = [f"{name}-{number}" for number in range(len(serials))]
    events = [registered(one, serial) for one, serial in zip(names, serials, strict=True)]
    body = b"[" + b",".join(events) + b"]"
    headers = signed_headers(name, body) | {"Content-Type": BATCHED}
    return Sent(_path(scene.SOURCE), headers, body, tuple(map(fact_of, names)))


def report(name: str, serial: str) -> Sent:
    """A progress report of RFC 8572, from a unit that is known by HTTP Basic."""
    given = {"progress-type": "bootstrap-complete", "message": name}
    body = msgspec.json.encode({f"{MODULE}:input": given})
    seen = reported(_JSON, body, serial, _DEPTH)
    known = base64.b64encode(f"{serial}:{PASSWORD}".encode()).decode()
    headers = {"Content-Type": _JSON, "Authorization": f"Basic {known}"}
    return Sent(_path(REPORTS), headers, body, (f"reg:{REPORTS}:{seen.event}",))


def _path(source: str) -> str:
    return f"/registrations/{source}"


def final(answer: bytes) -> bool:
    """Whether a 2xx says of each event that it was taken; only a batch tells them apart."""
    results = msgspec.json.decode(answer)["results"] if b'"results"' in answer else []
    return all(result["status"] == 202 for result in results)
