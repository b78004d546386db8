"""Events against the CloudEvents specification 1.0.2 and its reference library.

Source: "JSON Event Format for CloudEvents", version 1.0.2 (cloudevents/formats/json-format.md of
https://github.com/cloudevents/spec): examples of section 3.2 and 4.3, null as unset in 2.2;
"CloudEvents", version 1.0.2, required attributes; "HTTP Protocol Binding", version 1.0.2,
section 3.2 (structured content mode, with a charset parameter in its example).
"""

import json
from typing import Any

import pytest
from cloudevents.v1.conversion import to_structured
from cloudevents.v1.http import CloudEvent

from handlers.registration import Refused, fact_id, find_serial, parse_event

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


@pytest.mark.parametrize("example", [OBJECT, STRING, BINARY])
def test_the_specifications_examples_are_read(example: str) -> None:
    event = parse_event(TYPE, example.encode())
    assert event["type"] == "com.example.someevent"
    assert event["source"] == "/mycontext"


def test_the_serial_is_found_where_the_settings_say() -> None:
    event = parse_event(TYPE, OBJECT.encode())
    assert find_serial(event, ("data.appinfoA",)) == "abc"
    assert find_serial(event, ("data.missing", "data.appinfoA.deeper", "data.appinfoA")) == "abc"
    assert find_serial(event, ("comexampleextension1",)) == "value"
    for paths in (("subject",), ("data.appinfoB",), ("data",)):  # null is unset; no text
        with pytest.raises(Refused):
            find_serial(event, paths)
    with pytest.raises(Refused):
        find_serial(parse_event(TYPE, BINARY.encode()), ("data.serial", "subject"))


def test_a_batch_is_another_format() -> None:
    # Section 4: the batch format is not to be used where only the JSON format is indicated.
    with pytest.raises(Refused) as caught:
        parse_event("application/cloudevents-batch+json", f"[{OBJECT}]".encode())
    assert caught.value.status == 415
    with pytest.raises(Refused) as caught:
        parse_event(TYPE, f"[{OBJECT}]".encode())
    assert caught.value.status == 400


@pytest.mark.parametrize("name", ["id", "source", "specversion", "type"])
@pytest.mark.parametrize("value", [None, "", 5, [], "absent"])
def test_what_is_required_must_be_there(name: str, value: Any) -> None:
    event = json.loads(OBJECT)
    event[name] = value
    if value == "absent":
        del event[name]
    with pytest.raises(Refused) as caught:
        parse_event(TYPE, json.dumps(event).encode())
    assert caught.value.status == 400
    assert caught.value.detail.startswith(name)


def test_another_version_is_refused() -> None:
    with pytest.raises(Refused, match=r"0\.3"):
        parse_event(TYPE, OBJECT.replace('"1.0"', '"0.3"').encode())


def test_what_the_reference_library_writes_is_read() -> None:
    attributes = {
        "type": "org.example.unit.registered",
        "source": "https://registry.example.org/units",
        "subject": "HML-4F7K2Q",
    }
    headers, body = to_structured(CloudEvent(attributes, {"serial": "HML-4F7K2Q"}))
    event = parse_event(headers["content-type"], body)
    assert find_serial(event, ("data.serial",)) == "HML-4F7K2Q"
    assert find_serial(event, ("subject",)) == "HML-4F7K2Q"


def test_source_and_id_together_make_an_event_distinct() -> None:
    # "CloudEvents" 1.0.2, "id": producers MUST ensure that source + id is unique for each event.
    pairs = [("a", "b:c"), ("a:b", "c"), ("a", "b"), ("a", "B"), ("A", "b")]
    made = {fact_id("registry", {"source": source, "id": name}) for source, name in pairs}
    assert len(made) == len(pairs)
