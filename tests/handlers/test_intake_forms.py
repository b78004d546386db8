"""Every form in which a unit can be reported, over real HTTP into the real store."""

import asyncio
import json
from pathlib import Path
from typing import Any

import pytest
from pydantic import SecretStr

from bot.model.subject import ASIDE
from handlers.intake.receive import Intake
from tests.handlers.intake_kit import (
    BATCH,
    OPERATION,
    SERIAL,
    YANG_JSON,
    YANG_XML,
    basic,
    call,
    certificate,
    event,
    post,
    report,
    signed,
    source,
    sources,
    units,
)
from tests.handlers.kit import OwnStore, Room, open_room

_QUOTED = "https%3A//registry.example.org/units"
BINARY = {
    "ce_specversion": "1.0",
    "ce_id": "from-a-header",
    "ce_source": "https://registry.example.org/units",
    "ce_type": "org.example.unit.registered",
    "ce_subject": "HML-MTHE79",
}


def counts(room: Room) -> dict[str, int]:
    intake = room.bot.registration.intake
    assert isinstance(intake, Intake)
    return {outcome: number for (_, outcome), number in intake.counts.items()}


# --- binary and batched ------------------------------------------------------------------------


async def test_in_binary_mode_only_signed_parts_name_event_and_unit(room: Room) -> None:
    answer = await post(room, {"serial": SERIAL}, "application/json", **BINARY)
    assert (answer.status, answer.json) == (202, {"outcome": "ok"})
    assert (await room.visit("alderbeck")).units[0].online
    assert not (await room.visit("ambermere")).units[0].online
    ids = {fact for _, fact, _ in await room.journal() if fact.startswith("reg:")}
    assert ids == {"reg:registry:|w:msg_1"}


async def test_extension_attributes_stand_in_the_journal(room: Room) -> None:
    await post(room, event(traceparent="00-abc-01", retries=3))
    online = [json.loads(e) for _, _, e in await room.journal() if '"unit_online"' in e]
    assert online[0]["event"]["detail"]["traceparent"] == "00-abc-01"
    assert online[0]["event"]["detail"]["retries"] == "3"


async def test_a_batch_is_answered_event_by_event(room: Room) -> None:
    batch = [event(1), event(2, "HML-MTHE79"), event(3, "HML-NOBODY"), event(4, ""), {"id": "5"}]
    answer = await post(room, batch, BATCH)
    assert answer.status == 200
    results = answer.json["results"]
    assert [one["status"] for one in results] == [202, 202, 202, 422, 400]
    assert [one.get("outcome") for one in results] == ["ok", "ok", "kept", None, None]
    again = await post(room, batch, BATCH)
    assert [one.get("outcome") for one in again.json["results"][:3]] == ["repeat"] * 3


async def test_events_of_one_unit_in_a_batch_keep_their_order(room: Room) -> None:
    lost = event(2, type="org.example.unit.lost")
    await post(room, [event(1), lost, event(3), event(4, type="org.example.unit.lost")], BATCH)
    unit = (await room.visit("alderbeck")).units[0]
    assert unit.lost_at is not None
    assert unit.flaps == 1


async def test_a_batch_is_503_as_a_whole_while_one_event_is_not_final(own_store: OwnStore) -> None:
    async with open_room(own_store.url) as room:
        await own_store.kill()
        answer = await post(room, [event(1), {"id": "2"}], BATCH)
        assert answer.status == 503
        assert answer.headers["Retry-After"] == "5"
        await own_store.start()
        assert (await post(room, [event(1), {"id": "2"}], BATCH)).status == 200


# --- the same id -------------------------------------------------------------------------------


async def test_the_same_id_with_other_content_is_a_conflict(room: Room) -> None:
    assert (await post(room, event(1))).status == 202
    same = json.dumps(event(1), indent=2).encode()
    assert (await post(room, same)).json == {"outcome": "repeat"}
    other = await post(room, event(1, type="org.example.unit.lost"))
    assert other.status == 409
    assert other.headers["Content-Type"] == "application/problem+json"
    assert (await room.visit("alderbeck")).units[0].online


# --- progress reports --------------------------------------------------------------------------


@pytest.fixture
def reporting() -> dict[str, Any]:
    return {"registration": sources(source(), units())}


async def test_bootstrap_complete_marks_the_unit_online(
    store_url: str, reporting: dict[str, Any]
) -> None:
    async with open_room(store_url, **reporting) as room:
        answer = await report(room, "bootstrap-complete")
        assert (answer.status, answer.body) == (204, b"")
        assert (await room.visit("alderbeck")).units[0].online


async def test_the_unit_is_who_was_let_in_not_what_the_body_says(
    store_url: str, reporting: dict[str, Any]
) -> None:
    async with open_room(store_url, **reporting) as room:
        body = (
            b'<input xmlns="urn:ietf:params:xml:ns:yang:ietf-sztp-bootstrap-server">'
            b"<progress-type>bootstrap-complete</progress-type>"
            b"<message>HML-MTHE79</message></input>"
        )
        sent = {"Content-Type": YANG_XML, **basic("hml 4f7k2q")}
        assert (await call(room, "POST", OPERATION, body, sent)).status == 204
        assert (await room.visit("alderbeck")).units[0].online
        assert not (await room.visit("ambermere")).units[0].online


async def test_a_repeated_report_changes_nothing_and_is_counted(
    store_url: str, reporting: dict[str, Any]
) -> None:
    async with open_room(store_url, **reporting) as room:
        for _ in range(3):
            assert (await report(room, "config-initiated", "12 lines")).status == 204
        found = [e for _, _, e in await room.journal() if '"unit_progress"' in e]
        assert len(found) == 1
        assert counts(room)["repeat"] == 2
        await report(room, "config-initiated", "13 lines")  # another body, another report
        assert len([e for _, _, e in await room.journal() if '"unit_progress"' in e]) == 2


async def test_a_failed_unit_is_called_for_with_its_own_words(
    store_url: str, reporting: dict[str, Any]
) -> None:
    async with open_room(store_url, **reporting) as room:
        await room.to_start()
        await report(room, "boot-image-error", "signature mismatch <b>")
        await room.pass_time(5)
        (call_text,) = [m["text"] for m in room.server.messages("CTEAM01") if "fault" in m["text"]]
        assert "boot-image-error: signature mismatch &lt;b&gt;" in json.dumps(
            room.posts("CTEAM01", "call")
        )
        assert call_text
        assert "called_unit_fault" in await room.templates("alderbeck")


WRONG: list[tuple[dict[str, Any], int, str]] = [
    ({"body": b"{"}, 400, "malformed-message"),
    ({"body": b"{}"}, 400, "missing-element"),
    ({"kind": "application/json"}, 415, "invalid-value"),
    ({"headers": {}}, 401, "access-denied"),
    ({"headers": basic(SERIAL, "wrong-password-here")}, 401, "access-denied"),
    ({"headers": {"Authorization": "Basic !"}}, 401, "access-denied"),
    ({"headers": basic("")}, 401, "access-denied"),
    ({"headers": basic("x" * 200)}, 403, "access-denied"),
    ({"body": b"x" * 70_000}, 413, "too-big"),
]


async def test_errors_have_the_form_of_rfc_8040(store_url: str, reporting: dict[str, Any]) -> None:
    good = b'{"ietf-sztp-bootstrap-server:input":{"progress-type":"informational"}}'
    async with open_room(store_url, **reporting) as room:
        for sent, status, tag in WRONG:
            headers = {
                "Content-Type": sent.get("kind", YANG_JSON),
                **sent.get("headers", basic(SERIAL)),
            }
            answer = await call(room, "POST", OPERATION, sent.get("body", good), headers)
            assert answer.status == status, sent
            assert answer.headers["Content-Type"] == YANG_JSON
            (error,) = answer.json["ietf-restconf:errors"]["error"]
            assert error["error-tag"] == tag, sent
            asked = answer.headers.get("WWW-Authenticate", "")
            assert asked.startswith("Basic") == (status == 401)


async def test_where_restconf_begins_is_told(store_url: str, reporting: dict[str, Any]) -> None:
    async with open_room(store_url, **reporting) as room:
        answer = await call(room, "GET", "/.well-known/host-meta")
        assert b'rel="restconf" href="/restconf"' in answer.body


async def test_nobody_reports_progress_where_no_source_takes_it(store_url: str) -> None:
    async with open_room(store_url, registration=sources(source())) as room:
        assert (await report(room, "informational")).status == 404


# --- other JSON --------------------------------------------------------------------------------

MAPPING = """
mapping = 1
serial = "device.sn"
kind = "event"
id = "uuid"

[kinds]
joined = "registered"
left = "lost"
"""


async def test_other_json_is_read_by_a_mapping(store_url: str, tmp_path: Path) -> None:
    path = tmp_path / "mapping.toml"
    path.write_text(MAPPING, encoding="utf-8")
    chosen = sources(source("controller", mapping=str(path)), source())
    async with open_room(store_url, registration=chosen) as room:
        body = {"device": {"sn": SERIAL}, "event": "joined", "uuid": "7"}
        kind = "application/json"
        assert (await post(room, body, kind, name="controller")).json == {"outcome": "ok"}
        assert (await post(room, body, kind, name="controller")).json == {"outcome": "repeat"}
        assert (await room.visit("alderbeck")).units[0].online
        assert (await post(room, body | {"event": "left"}, kind, name="controller")).status == 409
        assert (await post(room, body | {"event": "x"}, kind, name="controller")).status == 422
        assert (await post(room, body, kind)).status == 415  # the other source has no mapping


async def test_a_mapping_that_cannot_be_used_ends_the_start_with_one_sentence(
    tmp_path: Path,
) -> None:
    from handlers.intake.mapped import MappingError, load

    path = tmp_path / "mapping.toml"
    for text, said in (
        (MAPPING.replace('"device.sn"', '"device..sn"'), "serial: not a JMESPath expression"),
        (MAPPING.replace('"registered"', '"here"'), "here"),
        (MAPPING.replace("uuid", "uuid[", 1), "id: not a JMESPath expression"),
        ("mapping = 2", "mapping"),
        (MAPPING + "[more]", "more"),
        ("=", "not valid TOML"),
    ):
        path.write_text(text, encoding="utf-8")
        with pytest.raises(MappingError, match=r"mapping\.toml") as caught:
            load(path)
        assert said in str(caught.value)
    with pytest.raises(MappingError, match="cannot be read"):
        load(tmp_path / "none.toml")


# --- the handshake -----------------------------------------------------------------------------


async def test_the_handshake_permits_whom_the_settings_name(store_url: str) -> None:
    # Source: CloudEvents HTTP webhook 1.0.2, sections 4.1 and 4.2, with its example values.
    chosen = sources(source(origins=("eventemitter.example.com",), rate=100), source("open"))
    ask = {"WebHook-Request-Origin": "eventemitter.example.com", "WebHook-Request-Rate": "120"}
    async with open_room(store_url, registration=chosen) as room:
        answer = await call(room, "OPTIONS", "/registrations/registry", headers=ask)
        assert answer.status == 200
        assert answer.headers["WebHook-Allowed-Origin"] == "eventemitter.example.com"
        assert answer.headers["WebHook-Allowed-Rate"] == "100"
        assert "POST" in answer.headers["Allow"]
        answer = await call(room, "OPTIONS", "/registrations/open", headers=ask)
        assert answer.headers["WebHook-Allowed-Rate"] == "*"
        for path, origin in (
            ("registry", "other.example.com"),
            ("registry", ""),
            ("registry", "a b"),
            ("nobody", "eventemitter.example.com"),
        ):
            answer = await call(
                room,
                "OPTIONS",
                f"/registrations/{path}",
                headers={"WebHook-Request-Origin": origin},
            )
            assert "WebHook-Allowed-Origin" not in answer.headers


async def test_over_the_rate_it_is_to_come_later(store_url: str) -> None:
    async with open_room(store_url, registration=sources(source(rate=20))) as room:
        found = [await post(room, event(number)) for number in range(4)]
        assert [one.status for one in found[:2]] == [202, 202]
        assert found[3].status == 429
        assert 1 <= int(found[3].headers["Retry-After"]) <= 3
        body = json.dumps(event(9)).encode()
        wrong = signed(body, secret="whsec_" + "QUJD" * 8)
        headers = {"Content-Type": "application/cloudevents+json", **wrong}
        answer = await call(room, "POST", "/registrations/registry", body, headers)
        assert answer.status == 401  # a stranger has no share in it


async def test_a_source_may_have_tokens_and_a_signature(store_url: str) -> None:
    token = "a-token-of-some-length"
    chosen = sources(source(tokens=(SecretStr(token),)))
    kind = {"Content-Type": "application/cloudevents+json"}
    async with open_room(store_url, registration=chosen) as room:
        path, body = "/registrations/registry", json.dumps(event(1)).encode()
        for number, way in enumerate(
            ({"Authorization": f"Bearer {token}"}, {"Authorization": f"bearer  {token}"}), 1
        ):
            body = json.dumps(event(number)).encode()
            assert (await call(room, "POST", path, body, {**kind, **way})).status == 202
        body = json.dumps(event(3)).encode()
        asked = f"{path}?access_token={token}"  # webhook 1.0.2, section 3.2
        assert (await call(room, "POST", asked, body, kind)).status == 202
        assert (await post(room, event(4))).status == 202
        for headers in ({"Authorization": "Bearer wrong"}, {"Authorization": "Digest x"}, {}):
            answer = await call(room, "POST", path, body, {**kind, **headers})
            assert answer.status == 401
            assert "Bearer" in answer.headers["WWW-Authenticate"]
            assert token not in answer.body.decode()


# --- over a proxy ------------------------------------------------------------------------------


async def test_passwords_are_taken_over_tls_only_and_certificates_from_the_proxy_only(
    store_url: str,
) -> None:
    chosen = sources(units(client_cert=True))
    outside = {"X-Forwarded-For": "198.51.100.7"}
    secure, plain = ({"X-Forwarded-Proto": scheme} for scheme in ("https", "http"))
    shown = {"Client-Cert": certificate(SERIAL)}
    trusting: dict[str, Any] = {"serve": {"trust_proxy": ("127.0.0.1",)}, "registration": chosen}
    async with open_room(store_url, **trusting) as room:
        sent = await report(room, "informational", headers={**basic(SERIAL), **outside, **plain})
        assert sent.status == 403
        sent = await report(room, "informational", headers={**basic(SERIAL), **outside, **secure})
        assert sent.status == 204
        sent = await report(room, "bootstrap-complete", headers={**shown, **outside, **secure})
        assert sent.status == 204
        assert (await room.visit("alderbeck")).units[0].online
    async with open_room(store_url, registration=chosen) as room:
        assert (await report(room, "bootstrap-complete", headers=shown)).status == 401


async def test_a_batch_that_meets_the_end_of_the_store_counts_each_event_once(
    own_store: OwnStore,
) -> None:
    """Whatever of it was kept when the store was killed: sent again, each event is there once."""
    batch = [event(number, f"HML-{number:06}") for number in range(50)]
    async with open_room(own_store.url) as room:
        sending = asyncio.create_task(post(room, batch, BATCH))
        async with asyncio.timeout(10):
            while (await room.bot.desk.state(ASIDE)) is None:  # noqa: ASYNC110 - by another task
                await asyncio.sleep(0.001)  # the first of them is kept, and others are on their way
        await own_store.kill()
        first = await sending
        await own_store.start()
        last = await post(room, batch, BATCH)
        kept = [line.fact_id async for line in room.bot.store.journal("aside")]
    assert first.status in (200, 503)
    assert [one["status"] for one in last.json["results"]] == [202] * 50
    assert sorted(kept) == sorted(f"reg:registry:{_QUOTED}:{number}" for number in range(50))
