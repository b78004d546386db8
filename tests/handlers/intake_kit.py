"""Senders of all kinds, against a whole bot."""

import base64
import json
import time
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any, NamedTuple

import aiohttp
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric.ec import SECP256R1, generate_private_key
from cryptography.x509.oid import NameOID
from pydantic import SecretStr

from bot.intake_settings import RegistrationSettings, WebhookSource
from bot.practice import scene
from handlers.signing import sign
from tests.handlers.kit import Room

SERIAL = "HML-4F7K2Q"
PASSWORD = "correct-horse-battery"
TOKEN = "a-token-of-some-length"
CLOUD = "application/cloudevents+json"
BATCH = "application/cloudevents-batch+json"
YANG_JSON = "application/yang-data+json"
YANG_XML = "application/yang-data+xml"
OPERATION = "/restconf/operations/ietf-sztp-bootstrap-server:report-progress"


class Answer(NamedTuple):
    status: int
    body: bytes
    headers: Mapping[str, str]

    @property
    def json(self) -> Any:
        return json.loads(self.body)


def source(name: str = "registry", **more: Any) -> WebhookSource:
    given: dict[str, Any] = {"secrets": (SecretStr(scene.WEBHOOK_SECRET),)}
    return WebhookSource.model_validate({"name": name, **given, **more})


def sources(*given: WebhookSource, **more: Any) -> RegistrationSettings:
    return RegistrationSettings(sources=given or (source(),), **more)


def units(**more: Any) -> WebhookSource:
    """Units that report their own progress."""
    given = {"secrets": (), "passwords": (SecretStr(PASSWORD),), "progress": True}
    return source("units", **{**given, **more})


def event(number: int | str = 1, serial: str = SERIAL, **more: Any) -> dict[str, Any]:
    made = {
        "specversion": "1.0",
        "id": str(number),
        "source": "https://registry.example.org/units",
        "type": "org.example.unit.registered",
        "data": {"serial": serial},
    }
    return made | more


def signed(body: bytes, message: str = "msg_1", secret: str = scene.WEBHOOK_SECRET) -> Any:
    stamp = int(time.time())
    return {
        "webhook-id": message,
        "webhook-timestamp": str(stamp),
        "webhook-signature": sign(secret, message, stamp, body),
    }


def basic(user: str, password: str = PASSWORD) -> dict[str, str]:
    text = base64.b64encode(f"{user}:{password}".encode()).decode()
    return {"Authorization": f"Basic {text}"}


async def call(
    room: Room, method: str, path: str, body: bytes = b"", headers: Mapping[str, str] | None = None
) -> Answer:
    async with (
        aiohttp.ClientSession(trust_env=False) as session,
        session.request(method, f"{room.base}{path}", data=body, headers=headers) as answer,
    ):
        return Answer(answer.status, await answer.read(), answer.headers)


async def post(
    room: Room, value: Any, kind: str = CLOUD, *, name: str = "registry", **headers: str
) -> Answer:
    """A signed request; ``value`` is bytes or what is sent as JSON."""
    body = value if isinstance(value, bytes) else json.dumps(value).encode()
    more = {key.replace("_", "-"): text for key, text in headers.items()}
    sent = {"Content-Type": kind, **signed(body), **more}
    return await call(room, "POST", f"/registrations/{name}", body, sent)


async def report(
    room: Room,
    progress: str,
    message: str = "",
    *,
    user: str = SERIAL,
    headers: Mapping[str, str] | None = None,
) -> Answer:
    """A progress report of a unit, as JSON."""
    given = {"progress-type": progress, **({"message": message} if message else {})}
    body = json.dumps({"ietf-sztp-bootstrap-server:input": given}).encode()
    sent = {"Content-Type": YANG_JSON, **(basic(user) if headers is None else headers)}
    return await call(room, "POST", OPERATION, body, sent)


def certificate(*names: str) -> str:
    """A unit's certificate as the proxy hands it on; ``names`` are its serialNumbers."""
    key = generate_private_key(SECP256R1())
    subject = x509.Name([x509.NameAttribute(NameOID.SERIAL_NUMBER, name) for name in names])
    made = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(7)
        .not_valid_before(datetime(2026, 1, 1, tzinfo=UTC))
        .not_valid_after(datetime(2027, 1, 1, tzinfo=UTC))
        .sign(key, hashes.SHA256())
    )
    der = made.public_bytes(serialization.Encoding.DER)
    return f":{base64.b64encode(der).decode()}:"
