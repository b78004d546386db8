"""Progress reports of RFC 8572, section 7: ``report-progress``, as JSON and as XML.

A report carries no id: its name is made of serial, type and the hash of the body. The unit is who
was let in, never what the body says. A document type declaration is refused, so there are no
entities to expand (the parser is expat, of the standard library).
"""

from typing import Any, NamedTuple
from xml.parsers import expat

from bot.model.progress import COMPLETE, TYPES
from bot.model.serial import normal
from handlers.intake.limits import json_of
from handlers.intake.problems import Refused
from handlers.intake.sighting import SERIAL_LENGTH, Sighting, digest_of

#: With the media types of RFC 8040; with a dot in the examples of RFC 8572 (from memory).
JSON = frozenset({"application/yang-data+json", "application/yang.data+json"})
XML = frozenset({"application/yang-data+xml", "application/yang.data+xml"})
MODULE = "ietf-sztp-bootstrap-server"
NAMESPACE = f"urn:ietf:params:xml:ns:yang:{MODULE}"
OPERATION = f"{MODULE}:report-progress"
MESSAGE_LENGTH = 1000
_ONLY_AT_THE_END = ("ssh-host-keys", "trust-anchor-certs")
_KNOWN = frozenset({"progress-type", "message", *_ONLY_AT_THE_END})


class BadReport(Refused):
    """A report that is none; ``tag`` is the ``error-tag`` of RFC 8040, section 7."""

    def __init__(self, tag: str, detail: str) -> None:
        super().__init__(400, detail)
        self.tag = tag


class Report(NamedTuple):
    progress: str
    message: str = ""


def reported(content_type: str, body: bytes, serial: str, depth: int) -> Sighting:
    """What the unit ``serial`` reports. Raises ``Refused``."""
    if content_type in JSON:
        report = from_json(body, depth)
    elif content_type in XML:
        report = from_xml(body, depth)
    else:
        raise Refused(415, "Send application/yang-data+json or application/yang-data+xml.")
    if not serial.strip() or len(serial) > SERIAL_LENGTH:
        raise Refused(403, "A report is taken from a unit that is known by its serial number.")
    digest = digest_of(body)
    return Sighting(
        serial=serial.strip(),
        kind="registered" if report.progress == COMPLETE else "progress",
        event=f"|p:{normal(serial)}:{report.progress}:{digest}",
        digest=digest,
        detail={"type": report.progress},
        progress=report.progress,
        message=report.message[:MESSAGE_LENGTH],
    )


def from_json(body: bytes, depth: int) -> Report:
    """RFC 7951: the input in the namespace of its module."""
    try:
        whole = json_of(body, depth)
    except Refused as error:
        raise BadReport("malformed-message", error.detail) from None
    if not isinstance(whole, dict):
        raise BadReport("malformed-message", "The body is not a JSON object.")
    given = whole.get(f"{MODULE}:input")
    if not isinstance(given, dict):
        raise BadReport("missing-element", f"There is no object {MODULE}:input.")
    prefix = f"{MODULE}:"
    return _report({name.removeprefix(prefix): value for name, value in given.items()})


def from_xml(body: bytes, depth: int) -> Report:
    """The input element in the module's XML namespace."""
    root = _Tree(depth).read(body)
    if root.name != f"{NAMESPACE} input":
        raise BadReport("unknown-namespace", f"The body is no element input of {NAMESPACE}.")
    given: dict[str, Any] = {}
    for child in root.inside:
        space, _, name = child.name.rpartition(" ")
        if space != NAMESPACE:
            raise BadReport("unknown-namespace", "An element is of another namespace.")
        if name in given:
            raise BadReport("bad-element", f"There is more than one {name[:60]}.")
        given[name] = child.inside or child.text
    for name in ("progress-type", "message"):
        if isinstance(given.get(name), list):
            raise BadReport("bad-element", f"{name} is text, and holds no elements.")
    if isinstance(given.get("progress-type"), str):
        given["progress-type"] = given["progress-type"].strip()
    return _report(given)


def _report(given: dict[str, Any]) -> Report:
    """Checked against the module: names, types, and what comes with the end alone."""
    progress, message = given.get("progress-type"), given.get("message", "")
    if progress is None:
        raise BadReport("missing-element", "progress-type is missing.")
    if not isinstance(progress, str) or progress not in TYPES:
        raise BadReport("invalid-value", "progress-type is none of RFC 8572.")
    if not isinstance(message, str):
        raise BadReport("invalid-value", "message is not text.")
    for name in given:
        if name not in _KNOWN or (name in _ONLY_AT_THE_END and progress != COMPLETE):
            raise BadReport("unknown-element", "An element is not one of this progress type.")
    return Report(progress, message.strip())


class _Element:
    __slots__ = ("inside", "name", "text")

    def __init__(self, name: str) -> None:
        self.name, self.text, self.inside = name, "", list["_Element"]()


class _Tree:
    """A small XML document; names are ``NAMESPACE NAME``."""

    def __init__(self, depth: int) -> None:
        self._depth = depth
        self._open = [_Element("")]
        self._texts: list[str] = []

    def read(self, body: bytes) -> _Element:
        parser = expat.ParserCreate(namespace_separator=" ")
        parser.StartDoctypeDeclHandler = self._declared
        parser.StartElementHandler = self._start
        parser.EndElementHandler = self._end
        parser.CharacterDataHandler = self._texts.append
        try:
            parser.Parse(body, True)
        except (expat.ExpatError, ValueError, LookupError, UnicodeError):
            raise BadReport("malformed-message", "The body is not well-formed XML.") from None
        return self._open[0].inside[0]

    def _declared(self, *_: object) -> None:
        raise BadReport("malformed-message", "A document type declaration is not taken.")

    def _start(self, name: str, _: dict[str, str]) -> None:
        if len(self._open) > self._depth:
            raise BadReport("malformed-message", f"More than {self._depth} elements deep.")
        self._texts.clear()
        made = _Element(name)
        self._open[-1].inside.append(made)
        self._open.append(made)

    def _end(self, _: str) -> None:
        self._open.pop().text = "".join(self._texts)
        self._texts.clear()
