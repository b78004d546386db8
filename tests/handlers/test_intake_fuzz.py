"""Whatever is sent: each decoder takes it or refuses it in its own words, and keeps nothing.

    FUZZ_EXAMPLES=5000 python -m pytest -n auto tests/handlers/test_intake_fuzz.py \\
        tests/handlers/test_openapi.py

tries thousands of cases of each (some minutes); without it they are hundreds.
"""

import asyncio
import gc
import json
import os
import tracemalloc
from collections.abc import Callable
from contextlib import suppress
from typing import Any

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from bot.intake_settings import RegistrationSettings
from bot.model.progress import TYPES
from handlers.intake import mapped, progress, syslog
from handlers.intake.cloudevents import CloudEvents
from handlers.intake.limits import json_of
from handlers.intake.problems import Refused
from handlers.intake.sighting import Sighting
from handlers.intake.trust import basic
from handlers.signing import BadSignature, Keys

EXAMPLES = int(os.environ.get("FUZZ_EXAMPLES", "200"))
many = settings(max_examples=EXAMPLES, deadline=None, suppress_health_check=[HealthCheck.too_slow])
EVENTS = CloudEvents(RegistrationSettings())
KEYS = Keys(("whsec_" + "QUJD" * 8,), ("whpk_jtvHIvBGM0bQoDVOONfXfJoqbJmCpdlRCj19lNsOrEw=",))
MAPPING = mapped.Mapping(
    mapped.MappingFile(
        mapping=1,
        serial="device.serial || sd.*.serial | [0]",
        kind="join('', [event, 'x']) | @ && event",
        kinds={"joined": "registered", "left": "lost"},
        id="to_string(uuid)",
        time="at",
        address="device.address",
        message="sort(texts)[0]",
    ),
    "the mapping",
)

_scalars = st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text()
_json = st.recursive(
    _scalars, lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner), max_leaves=12
)


def _nearly(**fields: st.SearchStrategy[Any]) -> st.SearchStrategy[Any]:
    """Objects that are nearly right: each field as it should be, or anything, or left out."""
    loose = {name: good | _json for name, good in fields.items()}
    return st.fixed_dictionaries({}, optional={**loose, "more": _json})


EVENT = _nearly(
    id=st.text(),
    source=st.text(),
    specversion=st.just("1.0"),
    type=st.sampled_from(["org.example.unit.registered", "org.example.unit.lost"]),
    time=st.datetimes().map(lambda at: f"{at.isoformat()}Z"),
    data=_nearly(serial=st.text(), address=st.text()),
)
REPORT = _nearly(
    **{
        "ietf-sztp-bootstrap-server:input": _nearly(
            **{
                "progress-type": st.sampled_from(sorted(TYPES)),
                "message": st.text(),
            }
        )
    }
)
OTHER = _nearly(
    device=_nearly(serial=st.text()), event=st.sampled_from(["joined", "left"]), texts=_json
)
HEADERS = st.dictionaries(
    st.sampled_from(["ce-id", "CE-Source", "ce-type", "ce-specversion", "ce-subject", "ce-x", "y"]),
    st.sampled_from(["1.0", "org.example.unit.lost", '"a\\"'])
    | st.text(st.characters(codec=None, exclude_categories=())),
)


def body(value: Any) -> bytes:
    return json.dumps(value).encode()


def bodies(like: st.SearchStrategy[Any]) -> st.SearchStrategy[bytes]:
    """Any bytes, any JSON, and what is nearly right; each also cut short."""
    whole = st.binary() | _json.map(body) | like.map(body)
    return whole | st.tuples(whole, st.integers(0, 40)).map(lambda pair: pair[0][: pair[1]])


def taken(decode: Callable[[], Any]) -> Any:
    """What it gives, or the refusal, which has a status of its own and one sentence."""
    try:
        found = decode()
    except Refused as error:
        return (
            error
            if 400 <= error.status < 500 and str(error).endswith(".")
            else pytest.fail(str(error))
        )
    for seen in found if isinstance(found, list) else [found]:
        if isinstance(seen, Sighting):
            assert len(seen.serial) <= 128
            f"{seen.event}{seen.serial}".encode()  # fit for the store
    return found


@many
@given(bodies(EVENT))
@example(b"[" * 5000)
@example(b'{"a":' * 5000)
@example(b'"\\ud800"')
def test_structured_events(sent: bytes) -> None:
    taken(lambda: EVENTS.structured(sent))


@many
@given(bodies(st.lists(EVENT)))
def test_batches(sent: bytes) -> None:
    found = taken(lambda: EVENTS.batch(sent))
    assert isinstance(found, (list, Refused))


@many
@given(HEADERS, bodies(_nearly(serial=st.text())), st.sampled_from(["", "msg_1"]))
def test_binary_events(headers: dict[str, str], sent: bytes, signed: str) -> None:
    taken(lambda: EVENTS.binary(headers, "application/json", sent, signed))


@many
@given(bodies(REPORT), st.text())
def test_reports_in_json(sent: bytes, serial: str) -> None:
    taken(lambda: progress.reported("application/yang-data+json", sent, serial, 32))


_tags = st.sampled_from(["input", "progress-type", "message", "ssh-host-keys", "x:y", "?"])
_xml = st.recursive(
    st.sampled_from(sorted(TYPES)) | st.text() | st.sampled_from(["&a;", "<!---->", "]]>"]),
    lambda inner: st.tuples(_tags, st.lists(inner, max_size=4)).map(
        lambda pair: f"<{pair[0]}>{''.join(pair[1])}</{pair[0]}>"
    ),
    max_leaves=10,
)
_input = _xml.map(lambda inner: f'<input xmlns="{progress.NAMESPACE}">{inner}</input>')


@many
@given(st.binary() | _xml.map(str.encode) | _input.map(str.encode))
@example(b"<a>" * 5000)
@example(b'<!DOCTYPE a [<!ENTITY b SYSTEM "file:///etc/passwd">]><a>&b;</a>')
@example(b'<?xml version="1.0" encoding="utf-7"?><a/>')
def test_reports_in_xml(sent: bytes) -> None:
    taken(lambda: progress.reported("application/yang-data+xml", sent, "HML-4F7K2Q", 32))


@many
@given(bodies(OTHER))
def test_other_json(sent: bytes) -> None:
    taken(lambda: MAPPING.sighting(json_of(sent, 32)))


_lines = st.lists(
    st.sampled_from(
        [
            *("<34>1 ", "2003-10-11T22:14:15.003Z ", "- ", "[a@1", ' x="1"', "]", "\\", '"', "m"),
            *("\ufeff", "\n", "34 ", "<", "\0", "\udcff"),
        ]
    ),
    max_size=16,
).map(lambda parts: "".join(parts).encode("utf-8", "surrogateescape"))


@many
@given(st.binary() | _lines | _lines.map(lambda rest: b"<34>1 - - - - - " + rest))
@example(b'<34>1 - - - - - [a@1 x="' + b"\\" * 5000)
@example(b"<34>1 - - - - - " + b"[a" * 3000)
def test_log_lines(sent: bytes) -> None:
    try:
        found = syslog.parse(sent)
    except syslog.BadLine:
        return
    taken(lambda: MAPPING.sighting(found))


@many
@given(st.binary() | _lines)
def test_frames(sent: bytes) -> None:
    async def read() -> int:
        reader = asyncio.StreamReader(limit=480)
        reader.feed_data(sent)
        reader.feed_eof()
        total = 0
        while (one := await syslog.frame(reader, 480)) is not None:
            total += len(one)
        return total

    with suppress(syslog.BadLine):
        assert asyncio.run(read()) <= len(sent)


@many
@given(
    st.fixed_dictionaries(
        {},
        optional={
            "webhook-id": st.text(),
            "webhook-timestamp": st.text() | st.integers().map(str),
            "webhook-signature": st.lists(
                st.sampled_from(["v1,", "v1a,", "v2,", "AAAA", "=", "\udcff", " "])
            ).map("".join),
        },
    ),
    st.binary(),
)
def test_signatures(headers: dict[str, str], sent: bytes) -> None:
    with pytest.raises(BadSignature):
        KEYS.verify(headers, sent, lambda _: 1_000_000.0, 300)


@many
@given(st.text() | st.binary().map(lambda raw: raw.hex()))
def test_names_and_passwords(sent: str) -> None:
    user, password = basic(sent)
    assert bool(user) or not password or ":" not in user


def test_nothing_is_kept_of_what_was_decoded() -> None:
    """Memory is flat: what a thousand more rounds leave behind is next to nothing."""

    def a_round(number: int) -> None:
        good = {
            "specversion": "1.0",
            "id": f"e{number}",
            "source": f"https://registry.example.org/{number}",
            "type": "org.example.unit.registered",
            "data": {"serial": f"HML-{number:06}"},
        }
        taken(lambda: EVENTS.structured(body(good)))
        taken(lambda: EVENTS.batch(body([good, {"id": number}])))
        taken(lambda: MAPPING.sighting({"device": {"serial": str(number)}, "event": "left"}))
        report = f"<input xmlns='{progress.NAMESPACE}'><message>{number}</message></input>"
        taken(lambda: progress.from_xml(report.encode(), 32))
        taken(lambda: json_of(b"[" * (number % 100), 32))

    tracemalloc.start()
    try:
        for number in range(1200):  # names of senders are remembered, a thousand of them
            a_round(number)
        gc.collect()
        before, _ = tracemalloc.get_traced_memory()
        for number in range(2000, 3000):
            a_round(number)
        gc.collect()
        after, _ = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert after - before < 50_000
