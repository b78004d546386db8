"""Events against the CloudEvents specification 1.0.2 and its reference library.

Source: https://github.com/cloudevents/spec at version 1.0.2: "JSON Event Format for CloudEvents"
(cloudevents/formats/json-format.md: examples of section 3.2 and 4.3, null as unset in 2.2),
"CloudEvents" (required attributes), "HTTP Protocol Binding" (bindings/http-protocol-binding.md:
binary mode in 3.1, structured mode in 3.2, batched mode in 3.3).
"""

import json
from typing import Any

import pytest
from cloudevents.core.bindings.http import HTTPMessage, from_http_event, to_binary, to_structured
from cloudevents.core.exceptions import CloudEventValidationError
from cloudevents.core.formats.json import JSONFormat
from cloudevents.core.v1.event import CloudEvent
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bot.intake_settings import RegistrationSettings
from handlers.intake.cloudevents import CloudEvents, attributes, checked, detail, find_serial, paths
from handlers.intake.limits import json_of
from handlers.intake.problems import Refused
from handlers.registration import fact_id

TYPE = "application/cloudevents+json"
#: Section 3.2, "Example event with JSON Object-valued data".
OBJECT = """{
    "specversion" : "1.0",
    "type" : "com.example.someevent",
    "source" : "/mycontext",
    "subject": null,
    "id" : "C234-1234-1234",
    "time" : "2018-04-05T17:31:00Z",
    "comexampleextension1" : "value",
    "comexampleothervalue" : 5,
    "datacontenttype" : "application/json",
    "data" : {
        "appinfoA" : "abc",
        "appinfoB" : 123,
        "appinfoC" : true
    }
}"""
#: Section 3.2, "Example event with a literal JSON string".
STRING = """{
    "specversion" : "1.0",
    "type" : "com.example.someevent",
    "source" : "/mycontext",
    "subject": null,
    "id" : "D234-1234-1234",
    "time" : "2018-04-05T17:31:00Z",
    "comexampleextension1" : "value",
    "comexampleothervalue" : 5,
    "data" : "I'm just a string"
}"""
#: Section 3.2, "Example event with Binary-valued data".
BINARY = """{
    "specversion" : "1.0",
    "type" : "com.example.someevent",
    "source" : "/mycontext",
    "id" : "A234-1234-1234",
    "time" : "2018-04-05T17:31:00Z",
    "comexampleextension1" : "value",
    "comexampleothervalue" : 5,
    "datacontenttype" : "application/vnd.apache.thrift.binary",
    "data_base64" : "... base64 encoded string ..."
}"""


SOME = RegistrationSettings(
    registered_types=("com.example.someevent",),
    lost_types=("com.example.someotherevent",),
    serial=("data.appinfoA", "comexampleextension1"),
)
DECODER = CloudEvents(SOME)


def parsed(text: str | bytes) -> dict[str, Any]:
    raw = text.encode() if isinstance(text, str) else text
    return checked(json_of(raw, 32))


def status_of(refused: Any) -> int:
    with pytest.raises(Refused) as caught:
        refused()
    return caught.value.status


# --- structured mode -------------------------------------------------------------------------


@pytest.mark.parametrize("example", [OBJECT, STRING, BINARY])
def test_the_specifications_examples_are_read(example: str) -> None:
    seen = DECODER.structured(example.encode())
    assert seen.kind == "registered"
    assert seen.serial == ("abc" if example == OBJECT else "value")
    assert seen.event == f"/mycontext:{json.loads(example)['id']}"


def test_the_time_is_read_and_a_wrong_one_loses_no_event() -> None:
    seen = DECODER.structured(OBJECT.encode())
    assert seen.claimed_at == 1522949460000  # 2018-04-05T17:31:00Z
    for wrong in ("yesterday", "2018-04-05", "", "9999-12-31T23:59:59-23:59"):
        assert DECODER.structured(OBJECT.replace("2018-04-05T17:31:00Z", wrong).encode()).serial


def test_extension_attributes_are_kept_known_or_not() -> None:
    kept = DECODER.structured(OBJECT.encode()).detail
    assert kept["comexampleextension1"] == "value"
    assert kept["comexampleothervalue"] == "5"
    made = detail({"type": "t", "source": "s", "id": "1", "specversion": "1.0", "flag": True})
    assert made["flag"] == "true"


@pytest.mark.parametrize("value", ["{}", "[1]", f'"{"x" * 513}"'])
def test_an_extension_attribute_is_a_plain_value(value: str) -> None:
    # "CloudEvents" 1.0.2, "Type System": no maps or lists among attribute values.
    text = OBJECT.replace('"value"', value, 1)
    assert status_of(lambda: DECODER.structured(text.encode())) == 400


def test_the_serial_is_found_where_the_settings_say() -> None:
    event = parsed(OBJECT)
    assert find_serial(event, paths(["data.appinfoA"])) == "abc"
    assert find_serial(event, paths(["data.no", "data.appinfoA.deeper", "data.appinfoA"])) == "abc"
    assert find_serial(event, paths(["comexampleextension1"])) == "value"
    for place in ("subject", "data.appinfoB", "data"):  # null is unset; no text
        assert status_of(lambda place=place: find_serial(event, paths([place]))) == 422
    assert status_of(lambda: find_serial(parsed(BINARY), paths(["data.serial", "subject"]))) == 422


@pytest.mark.parametrize("name", ["id", "source", "specversion", "type"])
@pytest.mark.parametrize("value", [None, "", 5, [], "absent"])
def test_what_is_required_must_be_there(name: str, value: Any) -> None:
    event = json.loads(OBJECT)
    event[name] = value
    if value == "absent":
        del event[name]
    with pytest.raises(Refused) as caught:
        parsed(json.dumps(event))
    assert caught.value.status == 400
    assert caught.value.detail.startswith(name)


def test_another_version_is_refused() -> None:
    with pytest.raises(Refused, match=r"0\.3"):
        parsed(OBJECT.replace('"1.0"', '"0.3"'))


def test_the_same_content_has_the_same_digest_however_it_is_laid_out() -> None:
    turned = json.dumps(dict(reversed(json.loads(OBJECT).items())), indent=3)
    assert DECODER.structured(turned.encode()).digest == DECODER.structured(OBJECT.encode()).digest
    other = OBJECT.replace('"appinfoB" : 123', '"appinfoB" : 124')
    assert DECODER.structured(other.encode()).digest != DECODER.structured(OBJECT.encode()).digest


def test_source_and_id_together_make_an_event_distinct() -> None:
    # "CloudEvents" 1.0.2, "id": producers MUST ensure that source + id is unique for each event.
    pairs = [("a", "b:c"), ("a:b", "c"), ("a", "b"), ("a", "B"), ("A", "b")]
    made = {fact_id("registry", {"source": source, "id": name}) for source, name in pairs}
    assert len(made) == len(pairs)


# --- batched mode ----------------------------------------------------------------------------

#: The shape of section 3.3.3: two events of different types, the second one without a serial.
BATCH = f"[{OBJECT}, {STRING.replace('someevent', 'someotherevent')}]"


def test_a_batch_is_read_event_by_event() -> None:
    first, second = DECODER.batch(BATCH.encode())
    assert not isinstance(first, Refused)
    assert not isinstance(second, Refused)
    assert (first.kind, first.serial) == ("registered", "abc")
    assert (second.kind, second.serial) == ("lost", "value")


def test_a_batch_may_be_empty() -> None:
    # JSON format 4.3: "Example: An empty batch of CloudEvents"; binding 3.3.2.
    assert DECODER.batch(b"[]") == []


def test_what_is_wrong_with_one_event_is_said_of_that_one() -> None:
    found = DECODER.batch(f"[{OBJECT}, {{}}, 5, {OBJECT.replace('1.0', '0.3')}]".encode())
    assert [isinstance(one, Refused) and one.status for one in found] == [False, 400, 400, 400]


def test_a_batch_is_a_list_of_limited_length() -> None:
    assert status_of(lambda: DECODER.batch(OBJECT.encode())) == 400
    assert status_of(lambda: DECODER.batch(b"[" + b",".join([b"{}"] * 101) + b"]")) == 413


# --- binary mode -----------------------------------------------------------------------------

#: Section 3.1.4, with data in place of "... application data ...".
HEADERS = {
    "Host": "webhook.example.com",
    "ce-specversion": "1.0",
    "ce-type": "com.example.someevent",
    "ce-time": "2018-04-05T03:56:24Z",
    "ce-id": "1234-1234-1234",
    "ce-source": "/mycontext/subcontext",
    "Content-Type": "application/json; charset=utf-8",
}
DATA = b'{"appinfoA": "abc"}'
JSON = "application/json"


def test_the_binary_example_is_read() -> None:
    seen = DECODER.binary(HEADERS, JSON, DATA, "")
    assert (seen.serial, seen.kind) == ("abc", "registered")
    assert seen.event == "/mycontext/subcontext:1234-1234-1234"


def test_of_a_signed_request_only_signed_parts_name_event_and_unit() -> None:
    seen = DECODER.binary({**HEADERS, "CE-comexampleextension1": "another"}, JSON, DATA, "msg_1")
    assert (seen.serial, seen.event) == ("abc", "|w:msg_1")
    assert seen.detail["comexampleextension1"] == "another"  # kept, for the record
    forged = {**HEADERS, "ce-comexampleextension1": "HML-4F7K2Q"}
    assert status_of(lambda: DECODER.binary(forged, JSON, b"{}", "msg_1")) == 422
    assert DECODER.binary(forged, JSON, b"{}", "").serial == "HML-4F7K2Q"  # TLS and a token
    other = DECODER.binary({**HEADERS, "ce-type": SOME.lost_types[0]}, JSON, DATA, "msg_1")
    assert other.digest != seen.digest  # the same id with another type is another event


@pytest.mark.parametrize(
    ("sent", "meant"),
    [
        ("Euro%20%E2%82%AC%20%F0%9F%98%80", "Euro \u20ac \N{GRINNING FACE}"),  # 3.1.3.2, example
        ("Euro%20%e2%82%ac", "Euro \u20ac"),  # decoding MUST accept lower-case values
        ("%45uro", "Euro"),  # unnecessarily percent-encoded MUST be accepted
        ('"a \\"b\\" c"', 'a "b" c'),  # double-quoted values, with backslash escapes
        ("100%25", "100%"),  # a single round
    ],
)
def test_header_values_are_decoded(sent: str, meant: str) -> None:
    assert attributes({"ce-subject": sent}) == {"subject": meant}


@pytest.mark.parametrize("sent", ["%C0%A0", "%ff", "a%00b", "\udcff", "%E2%82"])
def test_header_values_that_are_no_text_are_refused(sent: str) -> None:
    # Section 3.1.3.2: "%C0%A0" is an overlong encoding of U+0020, and MUST be rejected.
    assert status_of(lambda: attributes({"ce-subject": sent})) == 400


def test_data_of_another_kind_holds_no_serial() -> None:
    assert status_of(lambda: DECODER.binary(HEADERS, "text/plain", DATA, "")) == 415
    assert DECODER.binary(HEADERS, "application/vnd.example+json", DATA, "").serial == "abc"


# --- the reference library -------------------------------------------------------------------


def reference(**more: Any) -> CloudEvent:
    made = {
        "type": "com.example.someevent",
        "source": "https://registry.example.org/units",
        "id": "A-1",
        "specversion": "1.0",
    }
    return CloudEvent({**made, **more}, {"appinfoA": "HML-4F7K2Q"})


def test_what_the_reference_library_writes_is_read() -> None:
    event = reference(subject="Euro \u20ac", extension="kept")
    one = DECODER.structured(to_structured(event, JSONFormat()).body)
    binary = to_binary(event, JSONFormat())
    other = DECODER.binary(binary.headers, JSON, binary.body, "")
    for seen in (one, other):
        assert seen.serial == "HML-4F7K2Q"
        assert seen.event == "https%3A//registry.example.org/units:A-1"
        assert seen.detail["extension"] == "kept"
    assert one.event == other.event


_text = st.text(st.characters(codec="utf-8", exclude_categories=("C", "Z")), min_size=1)


@given(name=_text, subject=_text, extension=_text)
@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_we_and_the_reference_library_read_the_same_attributes(
    name: str, subject: str, extension: str
) -> None:
    made = to_binary(reference(id=name, subject=subject, extension=extension), JSONFormat())
    ours = attributes(made.headers)
    theirs = from_http_event(made, JSONFormat()).get_attributes()
    for key in ("id", "subject", "extension", "source", "type"):
        assert ours[key] == theirs[key]


def test_why_the_reference_library_is_not_in_the_way_of_each_request() -> None:
    """It refuses the specification's own example, whose null is unset by section 2.2."""
    message = HTTPMessage({"content-type": "application/cloudevents+json"}, OBJECT.encode())
    with pytest.raises(CloudEventValidationError, match="subject"):
        from_http_event(message, JSONFormat())
