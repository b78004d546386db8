"""Progress reports against RFC 8572, RFC 8040 and RFC 9440.

Sources: RFC 8572 section 7.3, the module ietf-sztp-bootstrap-server@2019-04-30 (its progress types,
what is mandatory, and the ``when`` of ssh-host-keys and trust-anchor-certs), as the YANG catalogue
https://github.com/YangModels/yang has it; the shape of the XML request of section 7.2, from memory;
RFC 7951 section 4 (namespaces in JSON); RFC 8040 section 7 (error tags); RFC 9440 appendix A.
"""

from typing import Any

import pytest
from aiohttp.test_utils import make_mocked_request

from bot.intake_settings import RegistrationSettings, WebhookSource
from bot.model.progress import COMPLETE, ERRORS, IMAGE, MOVES, TYPES, WARNINGS
from handlers.intake.problems import Refused
from handlers.intake.progress import BadReport, from_json, from_xml, reported
from handlers.intake.trust import Trust
from handlers.proxy import TRUSTED
from tests.handlers.intake_kit import certificate

#: Every enum of the leaf progress-type, in the module's order.
MODULE_TYPES = [
    "bootstrap-initiated",
    "parsing-initiated",
    "parsing-warning",
    "parsing-error",
    "parsing-complete",
    "boot-image-initiated",
    "boot-image-warning",
    "boot-image-error",
    "boot-image-mismatch",
    "boot-image-installed-rebooting",
    "boot-image-complete",
    "pre-script-initiated",
    "pre-script-warning",
    "pre-script-error",
    "pre-script-complete",
    "config-initiated",
    "config-warning",
    "config-error",
    "config-complete",
    "post-script-initiated",
    "post-script-warning",
    "post-script-error",
    "post-script-complete",
    "bootstrap-warning",
    "bootstrap-error",
    "bootstrap-complete",
    "informational",
]
NAMESPACE = "urn:ietf:params:xml:ns:yang:ietf-sztp-bootstrap-server"
INPUT = "ietf-sztp-bootstrap-server:input"
#: The shape of section 7.2 (from memory), with every node that the module has.
XML = f"""<?xml version="1.0" encoding="UTF-8"?>
<input xmlns="{NAMESPACE}">
  <progress-type>bootstrap-complete</progress-type>
  <message>example message</message>
  <ssh-host-keys>
    <ssh-host-key>
      <algorithm>ssh-rsa</algorithm>
      <key-data>base64encodedvalue==</key-data>
    </ssh-host-key>
    <ssh-host-key>
      <algorithm>rsa-sha2-256</algorithm>
      <key-data>base64encodedvalue==</key-data>
    </ssh-host-key>
  </ssh-host-keys>
  <trust-anchor-certs>
    <trust-anchor-cert>base64encodedvalue==</trust-anchor-cert>
  </trust-anchor-certs>
</input>"""
JSON = """{
  "ietf-sztp-bootstrap-server:input": {
    "progress-type": "bootstrap-complete",
    "message": "example message",
    "ssh-host-keys": {"ssh-host-key": [
      {"algorithm": "ssh-rsa", "key-data": "base64encodedvalue=="}]},
    "trust-anchor-certs": {"trust-anchor-cert": ["base64encodedvalue=="]}
  }
}"""


def test_every_progress_type_of_the_module_is_known_and_no_other() -> None:
    assert set(MODULE_TYPES) == TYPES
    assert len(MODULE_TYPES) == 27


def test_each_type_has_one_meaning() -> None:
    groups = [MOVES, WARNINGS, ERRORS, IMAGE, {COMPLETE}, {"informational"}]
    assert sum(map(len, groups)) == len(TYPES)
    for name in TYPES - {COMPLETE}:
        assert (name in MOVES) == name.endswith(("-initiated", "-complete"))
        assert (name in ERRORS) == name.endswith("-error")
        assert (name in WARNINGS) == name.endswith("-warning")


@pytest.mark.parametrize("progress", MODULE_TYPES)
def test_both_encodings_of_every_type_say_the_same(progress: str) -> None:
    as_json = f'{{"{INPUT}": {{"progress-type": "{progress}", "message": "m & m"}}}}'
    as_xml = (
        f'<s:input xmlns:s="{NAMESPACE}"><s:progress-type>{progress}</s:progress-type>'
        "<s:message>m &amp; m</s:message></s:input>"
    )
    one, other = from_json(as_json.encode(), 32), from_xml(as_xml.encode(), 32)
    assert one == other == (progress, "m & m")


def test_whole_reports_are_read() -> None:
    assert from_xml(XML.encode(), 32) == from_json(JSON.encode(), 32)
    seen = reported("application/yang-data+xml", XML.encode(), "HML-4F7K2Q", 32)
    assert (seen.serial, seen.kind, seen.progress) == ("HML-4F7K2Q", "registered", COMPLETE)
    assert seen.message == "example message"


def test_the_name_of_a_report_is_made_of_unit_type_and_body() -> None:
    names = {
        reported("application/yang-data+json", body, serial, 32).event
        for serial in ("HML-4F7K2Q", "hml 4f7k2q", "HML-8T3W9X")
        for body in (JSON.encode(), JSON.replace("example", "another").encode())
    }
    assert len(names) == 4  # the two ways of writing a serial are one


def xml(inner: str, namespace: str = NAMESPACE, root: str = "input") -> bytes:
    return f'<{root} xmlns="{namespace}">{inner}</{root}>'.encode()


GOOD = "<progress-type>informational</progress-type>"
LAUGHS = (
    '<?xml version="1.0"?><!DOCTYPE input [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;">]>'
    f'<input xmlns="{NAMESPACE}">{GOOD}<message>&b;</message></input>'
)


@pytest.mark.parametrize(
    ("body", "tag"),
    [
        (xml(""), "missing-element"),
        (xml("<progress-type>done</progress-type>"), "invalid-value"),
        (xml("<progress-type></progress-type>"), "invalid-value"),
        (xml(GOOD + GOOD), "bad-element"),
        (xml("<progress-type><x/></progress-type>"), "bad-element"),
        (xml(GOOD + "<colour>red</colour>"), "unknown-element"),
        (xml(GOOD + "<ssh-host-keys/>"), "unknown-element"),  # its "when" does not hold
        (xml(GOOD + '<message xmlns="urn:x">m</message>'), "unknown-namespace"),
        (xml(GOOD, "urn:example"), "unknown-namespace"),
        (xml(GOOD, root="output"), "unknown-namespace"),
        (b"<input>", "malformed-message"),
        (b"", "malformed-message"),
        (b"\xff\xfe\x00", "malformed-message"),
        (b'<?xml version="1.0" encoding="x-none"?><input/>', "malformed-message"),
        (LAUGHS.encode(), "malformed-message"),
        (xml(GOOD + "<message>" + "<x>" * 40 + "</x>" * 40 + "</message>"), "malformed-message"),
    ],
)
def test_xml_that_is_no_report_is_told_so(body: bytes, tag: str) -> None:
    with pytest.raises(BadReport) as caught:
        from_xml(body, 32)
    assert (caught.value.tag, caught.value.status) == (tag, 400)


@pytest.mark.parametrize(
    ("body", "tag"),
    [
        ("{", "malformed-message"),
        ("[]", "malformed-message"),
        (
            '{"input": {"progress-type": "informational"}}',
            "missing-element",
        ),  # RFC 7951: its module
        (f'{{"{INPUT}": 1}}', "missing-element"),
        (f'{{"{INPUT}": {{}}}}', "missing-element"),
        (f'{{"{INPUT}": {{"progress-type": 1}}}}', "invalid-value"),
        (f'{{"{INPUT}": {{"progress-type": ["informational"]}}}}', "invalid-value"),
        (f'{{"{INPUT}": {{"progress-type": "informational", "message": 1}}}}', "invalid-value"),
        (f'{{"{INPUT}": {{"progress-type": "informational", "x": 1}}}}', "unknown-element"),
    ],
)
def test_json_that_is_no_report_is_told_so(body: str, tag: str) -> None:
    with pytest.raises(BadReport) as caught:
        from_json(body.encode(), 32)
    assert (caught.value.tag, caught.value.status) == (tag, 400)


# --- Client-Cert -------------------------------------------------------------------------------

#: RFC 9440, appendix A: the field that the proxy sends for the example's end-entity certificate.
EXAMPLE = (
    ":MIIBqDCCAU6gAwIBAgIBBzAKBggqhkjOPQQDAjA6MRswGQYDVQQKDBJMZXQncyBBdXRoZW50aWNhdGUxGzAZBgNVBAMM"
    "EkxBIEludGVybWVkaWF0ZSBDQTAeFw0yMDAxMTQyMjU1MzNaFw0yMTAxMjMyMjU1MzNaMA0xCzAJBgNVBAMMAkJDMFkw"
    "EwYHKoZIzj0CAQYIKoZIzj0DAQcDQgAE8YnXXfaUgmnMtOXU/IncWalRhebrXmckC8vdgJ1p5Be5F/3YC8OthxM4+k1M"
    "6aEAEFcGzkJiNy6J84y7uzo9M6NyMHAwCQYDVR0TBAIwADAfBgNVHSMEGDAWgBRm3WjLa38lbEYCuiCPct0ZaSED2DAO"
    "BgNVHQ8BAf8EBAMCBsAwEwYDVR0lBAwwCgYIKwYBBQUHAwIwHQYDVR0RAQH/BBMwEYEPYmRjQGV4YW1wbGUuY29tMAoG"
    "CCqGSM49BAMCA0gAMEUCIBHda/r1vaL6G3VliL4/Di6YK0Q6bMjeSkC3dFCOOB8TAiEAx/kHSB4urmiZ0NX5r5XarmPk"
    "0wmuydBVoU4hBVZ1yhk=:"
)
TRUST = Trust(
    RegistrationSettings(
        sources=(WebhookSource(name="units", client_cert=True, progress=True),),
    )
)


def known_by(value: Any, *, trusted: bool = True) -> str:
    request = make_mocked_request("POST", "/", headers=value)
    if trusted:
        request[TRUSTED] = True
    return TRUST.unit(request).user


def test_a_unit_is_known_by_the_serial_number_of_its_certificate() -> None:
    assert known_by({"Client-Cert": certificate("HML-4F7K2Q")}) == "HML-4F7K2Q"


def test_the_published_field_is_read() -> None:
    # Its certificate is well-formed and names no serialNumber, so nobody is known by it.
    with pytest.raises(Refused, match="no serialNumber") as caught:
        known_by({"Client-Cert": EXAMPLE})
    assert caught.value.status == 401


@pytest.mark.parametrize(
    "value",
    [
        "",
        "::",
        EXAMPLE.strip(":"),
        EXAMPLE[:-9] + ":",
        ":bm9uZQ==:",
        f"{EXAMPLE}, {EXAMPLE}",
        ":" + "A" * 20_000 + ":",
    ],
)
def test_a_field_that_holds_no_certificate_lets_nobody_in(value: str) -> None:
    with pytest.raises(Refused) as caught:
        known_by({"Client-Cert": value})
    assert caught.value.status == 401


def test_a_certificate_with_two_numbers_or_from_anybody_else_is_not_believed() -> None:
    with pytest.raises(Refused):
        known_by({"Client-Cert": certificate("HML-4F7K2Q", "HML-8T3W9X")})
    with pytest.raises(Refused, match="trust_proxy"):  # section 2.4: only what the proxy has set
        known_by({"Client-Cert": certificate("HML-4F7K2Q")}, trusted=False)
    with pytest.raises(Refused):
        known_by({})
