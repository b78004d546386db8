"""CloudEvents 1.0.2 over HTTP: structured, binary and batched mode.

Sources: "CloudEvents", "JSON Event Format for CloudEvents" and "HTTP Protocol Binding for
CloudEvents", each 1.0.2. A signature of Standard Webhooks covers the body and ``webhook-id``, not
the ``ce-`` headers: in binary mode of a signed request the id is the signed ``webhook-id`` and the
serial is looked for in the body alone.

The reference library is not used here but in the tests (``tests.standards``): it takes no batches,
refuses a null that the JSON format calls unset, and takes twice as long.
"""

import re
from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Any
from urllib.parse import quote, unquote

from bot.intake_settings import RegistrationSettings
from handlers.intake.limits import json_of
from handlers.intake.problems import Refused
from handlers.intake.sighting import SERIAL_LENGTH, Kind, Sighting, digest_of, instant

STRUCTURED = "application/cloudevents+json"
BATCHED = "application/cloudevents-batch+json"
REQUIRED = ("id", "source", "specversion", "type")
CORE = frozenset(
    (*REQUIRED, "datacontenttype", "dataschema", "subject", "time", "data", "data_base64")
)
LENGTH = 512
EXTENSIONS = 32
_HEADER = "ce-"
_ESCAPED = re.compile(r"\\(.)")

Path = tuple[str, ...]


class CloudEvents:
    """Made ready once from the settings."""

    def __init__(self, settings: RegistrationSettings) -> None:
        self._depth, self._most = settings.depth_limit, settings.batch_limit
        self._kinds: dict[str, Kind] = {
            **dict.fromkeys(settings.alive_types, "alive"),
            **dict.fromkeys(settings.lost_types, "lost"),
            **dict.fromkeys(settings.registered_types, "registered"),
        }
        self._serial, self._address = paths(settings.serial), paths(settings.address)

    def structured(self, body: bytes) -> Sighting:
        """One event. Raises ``Refused`` with the right status."""
        return self.sighting(checked(json_of(body, self._depth)))

    def batch(self, body: bytes) -> list[Sighting | Refused]:
        """Each event, or why it is refused. Raises ``Refused`` when it is no batch at all."""
        events = json_of(body, self._depth)
        if not isinstance(events, list):
            raise Refused(400, "The body is not a JSON list of events.")
        if len(events) > self._most:
            raise Refused(413, f"More than {self._most} events in one batch.")
        found: list[Sighting | Refused] = []
        for event in events:
            try:
                found.append(self.sighting(checked(event)))
            except Refused as error:
                found.append(error)
        return found

    def binary(
        self, headers: Mapping[str, str], content_type: str, body: bytes, signed: str
    ) -> Sighting:
        """One event in headers and body; ``signed`` is the signed ``webhook-id``, if any."""
        event = checked(attributes(headers))
        if content_type != "application/json" and not content_type.endswith("+json"):
            raise Refused(415, f"Send data as application/json, not {content_type}.")
        event["data"] = json_of(body, self._depth)
        if not signed:
            return self.sighting(event)
        made = self.sighting(event, within={"data": event["data"]})
        digest = digest_of(body + event["type"].encode())
        # No quoted source has such a mark, so the name is that of no other event.
        return made._replace(event=f"|w:{signed}", digest=digest)

    def sighting(self, event: dict[str, Any], within: dict[str, Any] | None = None) -> Sighting:
        """What the event says; serial and address are looked for ``within`` it."""
        kind = self._kinds.get(event["type"])
        if kind is None:
            said = shown(event["type"])
            raise Refused(
                422, f"type {said} is not one we act on; see registration.registered_types."
            )
        within = event if within is None else within
        claimed = event.get("time")
        return Sighting(
            serial=find_serial(within, self._serial),
            kind=kind,
            event=event_name(event),
            digest=digest_of(event),
            detail=detail(event),
            claimed_at=instant(claimed),
            address=find_text(within, self._address),
        )


def checked(event: Any) -> dict[str, Any]:
    """A CloudEvent of version 1.0 as JSON gave it. Raises ``Refused``."""
    if not isinstance(event, dict):
        raise Refused(400, "The body is not a JSON object.")
    for name in REQUIRED:
        value = event.get(name)
        if not isinstance(value, str) or not value:
            raise Refused(400, f"{name} is missing: CloudEvents asks for a text that is not empty.")
        if len(value) > LENGTH:
            raise Refused(400, f"{name} is longer than {LENGTH} characters.")
    if event["specversion"] != "1.0":
        raise Refused(400, f"specversion {shown(event['specversion'])} is not 1.0.")
    return event


def attributes(headers: Mapping[str, str]) -> dict[str, Any]:
    """The attributes that stand in ``ce-`` headers (binding 1.0.2, section 3.1.3)."""
    found: dict[str, Any] = {}
    for name, value in headers.items():
        attribute = name.lower().removeprefix(_HEADER)
        if len(attribute) == len(name) or attribute.startswith("data"):
            continue  # none, or one that the body and its content type stand for
        if attribute in found:
            raise Refused(400, f"The header {shown(name)} is there twice.")
        found[attribute] = _header_text(name, value)
    return found


def _header_text(name: str, value: str) -> str:
    """Unquoted, then percent-decoded once; broken UTF-8 is refused (section 3.1.3, on values)."""
    if len(value) > 1 and value[0] == value[-1] == '"':
        value = _ESCAPED.sub(r"\1", value[1:-1])
    try:
        text = unquote(value, errors="strict")
        text.encode()
    except UnicodeError:
        raise Refused(400, f"The header {shown(name)} is not UTF-8.") from None
    if not text.isprintable():
        raise Refused(400, f"The header {shown(name)} is not printable text.")
    return text


def event_name(event: Mapping[str, Any]) -> str:
    """Source and id together make an event distinct (CloudEvents 1.0.2, "source" and "id")."""
    return f"{_quoted(event['source'])}:{event['id']}"


_quoted = lru_cache(1024)(quote)  # the same few senders come again and again


def detail(event: Mapping[str, Any]) -> dict[str, str]:
    """What is kept of an event: type, time, and every extension attribute, known to us or not."""
    kept = {"type": event["type"], "time": str(event.get("time", ""))[:64]}
    if len(event) > len(REQUIRED):
        more = [name for name in event if name not in CORE]
        if len(more) > EXTENSIONS:
            raise Refused(400, f"More than {EXTENSIONS} extension attributes.")
        for name in more:
            value = event[name]
            if value is None:  # null is unset (JSON format 1.0.2, section 2.2)
                continue
            if isinstance(value, (dict, list)) or len(name) > 64 or len(str(value)) > LENGTH:
                raise Refused(
                    400, f"The extension attribute {shown(name)} is no plain value, or too long."
                )
            kept[name] = ("true" if value else "false") if value in (True, False) else str(value)
    return kept


def paths(texts: Sequence[str]) -> tuple[Path, ...]:
    """Dots go into objects."""
    return tuple(tuple(text.split(".")) for text in texts)


def find_text(event: Mapping[str, Any], where: Sequence[Path]) -> str:
    """The text at the first of the paths that holds one, or an empty one."""
    for path in where:
        value: Any = event
        for key in path:
            value = value.get(key) if isinstance(value, dict) else None
        if isinstance(value, str) and (text := value.strip()):
            return text
    return ""


def find_serial(event: Mapping[str, Any], where: Sequence[Path]) -> str:
    """The serial, at the first of the paths that holds a text. Raises ``Refused``."""
    serial = find_text(event, where)
    if not serial:
        places = " or ".join(".".join(path) for path in where)
        raise Refused(422, f"There is no serial at {places}; see registration.serial.")
    if len(serial) > SERIAL_LENGTH:
        raise Refused(422, f"The serial is longer than {SERIAL_LENGTH} characters.")
    return serial


def shown(text: str) -> str:
    """What somebody sent, fit to be said back to them: short, and nothing that is not text."""
    return repr(text[:60])
