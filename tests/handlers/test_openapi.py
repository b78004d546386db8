"""The OpenAPI document, and requests made from it: no answer that it does not describe.

More cases: see ``test_intake_fuzz``. Sources: the JSON Schema of OpenAPI 3.1 as the test library
has it, RFC 9457 and RFC 8040 for the forms of errors.
"""

import asyncio
import threading
from collections.abc import Iterator
from typing import Any

import pytest
import schemathesis
from aiohttp import web
from hypothesis import HealthCheck, settings
from pydantic import SecretStr
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from bot.desk import Desk
from bot.desk.surroundings import Surroundings
from bot.model.policy import Policy
from bot.model.roster import Roster
from bot.practice import scene
from bot.store.store import Store
from handlers.http import application
from handlers.intake.openapi import document
from handlers.registration import RegistrationIn
from tests.handlers.intake_kit import PASSWORD, SERIAL, TOKEN, basic, sources, units
from tests.handlers.intake_kit import source as made_source
from tests.handlers.test_intake_fuzz import EXAMPLES

SETTINGS = sources(made_source(tokens=(SecretStr(TOKEN),)), units())
SCHEMA = schemathesis.openapi.from_dict(document(SETTINGS))
CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
]


async def _serve(store_url: str, ready: Any, stop: asyncio.Event) -> None:
    store = Store(store_url)
    await store.connect()
    around = Surroundings(book=scene.runbook(), lexicons={}, policy=Policy(), roster=Roster(()))

    async def check() -> dict[str, bool]:
        return {}

    app = application(
        chat=None,
        registration=RegistrationIn(Desk(store, around), SETTINGS, lambda: 0),
        check=check,
        body_limit=SETTINGS.body_limit,
    )
    runner = web.AppRunner(app)
    await runner.setup()
    await web.TCPSite(runner, "127.0.0.1", 0).start()
    ready(f"http://127.0.0.1:{runner.addresses[0][1]}")
    await stop.wait()
    await runner.cleanup()
    await store.close()


@pytest.fixture
def served(store_url: str) -> Iterator[str]:
    """The HTTP side in a thread of its own, on a real store."""
    found: list[str] = []
    begun = threading.Event()
    loop = asyncio.new_event_loop()
    stop = asyncio.Event()

    def ready(url: str) -> None:
        found.append(url)
        begun.set()

    thread = threading.Thread(
        target=loop.run_until_complete, args=(_serve(store_url, ready, stop),)
    )
    thread.start()
    assert begun.wait(10)
    yield found[0]
    loop.call_soon_threadsafe(stop.set)
    thread.join(10)
    loop.close()


@SCHEMA.parametrize()
@settings(
    max_examples=max(20, EXAMPLES // 10),
    deadline=None,
    suppress_health_check=list(HealthCheck),
)
def test_every_answer_is_described(case: Any, served: str) -> None:
    known = basic(SERIAL) if "restconf" in case.path else {"Authorization": f"Bearer {TOKEN}"}
    for name in list(case.headers or {}):
        if name.lower() == "webhook-signature":
            del case.headers[name]
    answer = case.call(base_url=served, headers=known)
    case.validate_response(answer, checks=CHECKS)
    assert PASSWORD not in answer.text
    assert TOKEN not in answer.text


def test_the_document_is_served_and_valid(served: str) -> None:
    import requests

    answer = requests.get(f"{served}/openapi.json", timeout=5)
    assert answer.json() == document(SETTINGS)
    SCHEMA.validate()
