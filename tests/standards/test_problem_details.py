"""What the webhook answers when it refuses, against RFC 9457, Problem Details for HTTP APIs.

Source: RFC 9457 section 3 (media type, members and their types; ``status`` equals the response's
status), section 4.2.1 (``about:blank``), appendix A (its JSON Schema, written here by hand).
"""

import time
from collections.abc import AsyncIterator
from pathlib import Path

import aiohttp
import pytest
from aiohttp import web
from jsonschema import Draft202012Validator
from pydantic import SecretStr

from bot.desk import Desk
from bot.desk.surroundings import Surroundings
from bot.model.policy import Policy
from bot.model.roster import Roster
from bot.practice import scene
from bot.settings import RegistrationSettings, WebhookSource
from bot.store.store import Store
from handlers.http import application
from handlers.registration import RegistrationIn
from handlers.signing import sign

MEMBERS = {
    "type": "object",
    "properties": {
        "type": {"type": "string", "format": "uri-reference"},
        "title": {"type": "string"},
        "status": {"type": "integer", "minimum": 100, "maximum": 599},
        "detail": {"type": "string"},
        "instance": {"type": "string", "format": "uri-reference"},
    },
}
GOOD = (
    b'{"specversion":"1.0","id":"1","source":"https://registry.example.org",'
    b'"type":"org.example.unit.registered","data":{"serial":"HML-4F7K2Q"}}'
)
CLOUD = "application/cloudevents+json"


@pytest.fixture
async def url(tmp_path: Path) -> AsyncIterator[str]:
    """The HTTP side over a store that is away."""
    store = Store(f"unix://{tmp_path}/none.sock")
    around = Surroundings(book=scene.runbook(), lexicons={}, policy=Policy(), roster=Roster(()))
    settings = RegistrationSettings(
        sources=(WebhookSource(name="registry", secrets=(SecretStr(scene.WEBHOOK_SECRET),)),),
        body_limit=2_048,
    )

    async def check() -> dict[str, bool]:
        return {}

    app = application(
        chat=None,
        registration=RegistrationIn(Desk(store, around), settings, lambda: 0),
        check=check,
        body_limit=settings.body_limit,
    )
    runner = web.AppRunner(app)
    await runner.setup()
    await web.TCPSite(runner, "127.0.0.1", 0).start()
    yield f"http://127.0.0.1:{runner.addresses[0][1]}/registrations"
    await runner.cleanup()
    await store.close()


def headers(body: bytes, kind: str = CLOUD) -> dict[str, str]:
    stamp = int(time.time())
    return {
        "Content-Type": kind,
        "webhook-id": "1",
        "webhook-timestamp": str(stamp),
        "webhook-signature": sign(scene.WEBHOOK_SECRET, "1", stamp, body),
    }


@pytest.mark.parametrize(
    ("status", "source", "body", "kind"),
    [
        (404, "nobody", GOOD, CLOUD),
        (413, "registry", b"x" * 4_096, CLOUD),
        (415, "registry", GOOD, "text/plain"),
        (400, "registry", b"{", CLOUD),
        (400, "registry", GOOD.replace(b'"id":"1",', b""), CLOUD),
        # RFC 8259 section 6 (NaN is no JSON), 8.1 (UTF-8), 8.2 (half of a surrogate pair).
        (400, "registry", GOOD.replace(b'"1"', b"NaN"), CLOUD),
        (400, "registry", GOOD.replace(b'"1"', b'"\xff"'), CLOUD),
        (400, "registry", GOOD.replace(b'"1"', b'"\\ud800"'), CLOUD),
        (422, "registry", GOOD.replace(b"registered", b"unheard_of"), CLOUD),
        (422, "registry", GOOD.replace(b"serial", b"number"), CLOUD),
        (503, "registry", GOOD, CLOUD),
    ],
)
async def test_a_refusal_is_a_problem(
    url: str, status: int, source: str, body: bytes, kind: str
) -> None:
    await refused(f"{url}/{source}", status, body, headers(body, kind))


async def test_a_bad_signature_is_a_problem(url: str) -> None:
    await refused(f"{url}/registry", 401, GOOD, headers(b"another body"))


async def refused(url: str, status: int, body: bytes, sent: dict[str, str]) -> None:
    async with (
        aiohttp.ClientSession(trust_env=False) as session,
        session.post(url, data=body, headers=sent) as answer,
    ):
        problem = await answer.json(content_type=None)
        assert answer.content_type == "application/problem+json"  # section 3
        retry = answer.headers.get("Retry-After", "")
        assert answer.status == status
    Draft202012Validator(MEMBERS).validate(problem)
    assert problem["status"] == status  # section 3.1.2
    assert problem["type"] == "about:blank"  # section 4.2.1: nothing beyond the status
    assert problem["detail"].endswith(".")
    # RFC 9110 section 10.2.3: a number of seconds, where coming again may help.
    assert retry.isdigit() == (status == 503)
