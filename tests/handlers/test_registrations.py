"""Registrations over HTTP into the real store: every answer, duplicates, unknown serials."""

import base64
import json
import time
from typing import Any

import aiohttp
import pytest
from pydantic import SecretStr

from bot.model.serial import normal
from bot.model.subject import ASIDE, of_visit
from bot.practice import scene
from bot.settings import RegistrationSettings, WebhookSource
from handlers.signing import sign
from tests.handlers.kit import WAVE, OwnStore, Room, open_room

SERIAL = "HML-4F7K2Q"
SECOND = "whsec_" + base64.b64encode(b"another secret of 32 bytes......").decode()
TYPE = "application/cloudevents+json"


def event(**more: Any) -> bytes:
    made = {
        "specversion": "1.0",
        "id": "1",
        "source": "https://registry.example.org/units",
        "type": "org.example.unit.registered",
        "data": {"serial": SERIAL},
    }
    return json.dumps(made | more).encode()


async def send(
    room: Room,
    body: bytes,
    *,
    source: str = "registry",
    secret: str = scene.WEBHOOK_SECRET,
    kind: str = TYPE,
    age: int = 0,
    headers: dict[str, str] | None = None,
) -> tuple[int, Any, dict[str, str]]:
    stamp = int(time.time()) - age
    sent = {
        "Content-Type": kind,
        "webhook-id": "msg_1",
        "webhook-timestamp": str(stamp),
        "webhook-signature": sign(secret, "msg_1", stamp, body),
    }
    sent.update(headers or {})
    async with (
        aiohttp.ClientSession(trust_env=False) as session,
        session.post(f"{room.base}/registrations/{source}", data=body, headers=sent) as answer,
    ):
        return answer.status, await answer.json(content_type=None), dict(answer.headers)


async def test_the_unit_is_online_whatever_the_contact_has_said(room: Room) -> None:
    status, answer, _ = await send(room, event())
    assert (status, answer) == (202, {"outcome": "ok"})
    assert (await room.visit("alderbeck")).units[0].online
    await room.rest()
    assert "online_thanks" in await room.templates("alderbeck")


async def test_a_charset_beside_the_type_is_fine(room: Room) -> None:
    # Source: CloudEvents HTTP Protocol Binding 1.0.2, section 3.2.3, shows it so.
    status, _, _ = await send(room, event(), kind=f"{TYPE}; charset=UTF-8")
    assert status == 202


async def test_a_duplicate_is_taken_and_changes_nothing(room: Room) -> None:
    await send(room, event())
    before = await room.journal()
    status, answer, _ = await send(room, event())
    assert (status, answer) == (202, {"outcome": "repeat"})
    assert await room.journal() == before
    status, answer, _ = await send(room, event(id="2"))  # another event that says the same
    assert (status, answer) == (202, {"outcome": "repeat"})
    assert len([e for _, _, e in await room.journal() if '"unit_online"' in e]) == 1


@pytest.mark.parametrize("serial", ["hml 4f7k2q", "S/N: HML-4F7K2Q", "(21)HML4F7K2Q"])
async def test_serials_are_compared_in_their_normal_form(room: Room, serial: str) -> None:
    status, _, _ = await send(room, event(data={"serial": serial}))
    assert status == 202
    assert (await room.visit("alderbeck")).units[0].online


async def test_a_unit_may_be_lost_again(room: Room) -> None:
    await send(room, event())
    status, _, _ = await send(room, event(id="2", type="org.example.unit.lost"))
    assert status == 202
    unit = (await room.visit("alderbeck")).units[0]
    assert unit.registered_at is not None
    assert unit.lost_at is not None


async def test_an_unknown_serial_is_kept_aside_and_the_admins_are_told_once(room: Room) -> None:
    status, answer, _ = await send(room, event(data={"serial": "HML-NO<ONE>"}))
    assert (status, answer) == (202, {"outcome": "kept"})
    await send(room, event(id="2", data={"serial": "HML-NO<ONE>"}))
    await room.rest()
    told = room.posts(scene.TEAM_CHANNEL, "kept_aside")
    assert len(told) == 1
    assert "HML-NO&lt;ONE&gt; (from registry)" in told[0]["text"]
    kept = await room.bot.desk.state(ASIDE)
    assert [(i.what, i.serial) for i in kept.items] == [("unknown serial", "HML-NO<ONE>")] * 2
    visits = [await room.visit(site) for site in ("alderbeck", "ambermere")]
    assert not any(unit.online for visit in visits for unit in visit.units)
    await send(room, event(id="3", data={"serial": "HML-AAAAAA"}))
    await room.rest()
    assert len(room.posts(scene.TEAM_CHANNEL, "kept_aside")) == 2


async def test_what_is_kept_aside_while_the_index_is_written_counts_all_the_same(
    room: Room, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another process writes the hint, and finds nothing aside, just before we put it there."""
    desk, subject = room.bot.desk, of_visit(WAVE, "alderbeck")
    await desk.store.drop("serial", normal(SERIAL), subject)
    receive = desk.receive

    async def written_before(fact: Any, loaded: Any = None) -> Any:
        if fact.subject == ASIDE:
            await desk.store.put("serial", normal(SERIAL), subject)
            assert await desk.expects(SERIAL, subject) == 0
        return await receive(fact, loaded)

    monkeypatch.setattr(desk, "receive", written_before)
    assert (await send(room, event()))[:2] == (202, {"outcome": "ok"})
    assert (await room.visit("alderbeck")).units[0].online


async def test_where_the_serial_stands_and_which_types_count_are_settings(store_url: str) -> None:
    chosen = RegistrationSettings(
        sources=(WebhookSource(name="registry", secrets=(SecretStr(scene.WEBHOOK_SECRET),)),),
        registered_types=("net.example.joined",),
        serial=("data.unit.number",),
    )
    async with open_room(store_url, registration=chosen) as room:
        body = event(type="net.example.joined", data={"unit": {"number": SERIAL}})
        assert (await send(room, body))[0] == 202
        assert (await room.visit("alderbeck")).units[0].online
        assert (await send(room, event()))[0] == 422


async def test_two_secrets_are_valid_at_once(store_url: str) -> None:
    secrets = (SecretStr(scene.WEBHOOK_SECRET), SecretStr(SECOND))
    chosen = RegistrationSettings(sources=(WebhookSource(name="registry", secrets=secrets),))
    async with open_room(store_url, registration=chosen) as room:
        assert (await send(room, event(id="1"), secret=scene.WEBHOOK_SECRET))[0] == 202
        assert (await send(room, event(id="2"), secret=SECOND))[0] == 202
        third = "whsec_" + base64.b64encode(b"a third secret of 32 bytes......").decode()
        assert (await send(room, event(id="3"), secret=third))[0] == 401


@pytest.mark.parametrize(
    ("body", "more", "status", "says"),
    [
        (event(), {"source": "nobody"}, 404, "registration.sources"),
        (event(), {"secret": SECOND}, 401, "secrets"),
        (event(), {"age": 301}, 401, "too far"),
        (event(), {"age": -301}, 401, "too far"),
        (event(), {"headers": {"webhook-id": ""}}, 401, "needed"),
        (event(), {"headers": {"webhook-timestamp": "now"}}, 401, "number of seconds"),
        (event(), {"kind": "application/json"}, 415, TYPE),
        (event(), {"kind": "text/plain"}, 415, TYPE),
        (b"{", {}, 400, "not valid JSON"),
        (b"\xff", {}, 400, "not valid JSON"),
        (b"[" * 50_000, {}, 400, "not valid JSON"),
        (b"[]", {}, 400, "not a JSON object"),
        (event(id=""), {}, 400, "id is missing"),
        (event(source=None), {}, 400, "source is missing"),
        (event(specversion="0.3"), {}, 400, "specversion"),
        (event(id="x" * 513), {}, 400, "longer than 512"),
        (event(type="org.example.unit.painted"), {}, 422, "registration.registered_types"),
        (event(data={}), {}, 422, "registration.serial"),
        (event(data={"serial": 5}), {}, 422, "registration.serial"),
        (event(data={"serial": "x" * 129}), {}, 422, "longer than 128"),
        (event(data={"serial": SERIAL, "more": "x" * 70_000}), {}, 413, "larger than 65536"),
    ],
)
async def test_what_cannot_be_taken_is_refused_with_one_sentence(
    room: Room, body: bytes, more: dict[str, Any], status: int, says: str
) -> None:
    before = await room.journal()
    found, problem, _ = await send(room, body, **more)
    assert found == status
    assert says in problem["detail"]
    assert await room.journal() == before


async def test_a_body_without_a_length_is_measured_too(room: Room) -> None:
    async def parts() -> Any:
        for _ in range(20):
            yield b"x" * 65_536

    async with (
        aiohttp.ClientSession(trust_env=False) as session,
        session.post(f"{room.base}/registrations/registry", data=parts()) as answer,
    ):
        assert answer.status == 413


async def test_with_the_store_away_it_is_to_come_again(own_store: OwnStore) -> None:
    async with open_room(own_store.url) as room:
        await own_store.kill()
        status, _, headers = await send(room, event())
        assert status == 503
        assert int(headers["Retry-After"]) > 0
        await own_store.start()
        assert (await send(room, event()))[0] == 202
        assert (await room.visit("alderbeck")).units[0].online


async def test_other_methods_are_refused(room: Room) -> None:
    async with (
        aiohttp.ClientSession(trust_env=False) as session,
        session.get(f"{room.base}/registrations/registry") as answer,
    ):
        assert answer.status == 405
