"""Any other JSON, read by a mapping: JMESPath expressions in a TOML file, compiled once.

    mapping = 1
    serial = "device.sn"            # where the serial number stands
    kind = "event.state"            # where it says what happened
    id = "event.uuid"               # optional; else the name is made of the content
    time = "event.at"               # optional, RFC 3339
    address = "device.ip"           # optional, the unit's own address
    message = "event.text"          # optional
    otherwise = "refuse"            # other kinds: "refuse" (422), or "ignore" (taken, nothing done)

    [kinds]                         # which values mean what
    up = "registered"
    down = "lost"
    beat = "alive"

Source: the JMESPath specification, https://jmespath.org/specification.html, by its library.
"""

import tomllib
from pathlib import Path
from typing import Any, Literal, Protocol

import jmespath
import jmespath.exceptions
import msgspec

from bot.model.serial import normal
from bot.settings import SettingsError
from handlers.intake.problems import Refused
from handlers.intake.sighting import SERIAL_LENGTH, Kind, Sighting, digest_of, instant

_MESSAGE_LENGTH = 1000
_ID_LENGTH = 512


class MappingError(SettingsError):
    """The file cannot be used; the text says where and why."""


class MappingFile(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """The file as it is written."""

    mapping: Literal[1]
    serial: str
    kind: str
    kinds: dict[str, Literal["registered", "lost", "alive"]]
    id: str = ""
    time: str = ""
    address: str = ""
    message: str = ""
    otherwise: Literal["refuse", "ignore"] = "refuse"


class Expression(Protocol):
    def search(self, value: Any) -> Any: ...


class Mapping:
    """A mapping, compiled. ``where`` names it in errors."""

    def __init__(self, file: MappingFile, where: str) -> None:
        self._kinds, self._ignores = file.kinds, file.otherwise == "ignore"
        self._serial = _compiled(file.serial, where, "serial")
        self._kind = _compiled(file.kind, where, "kind")
        self._id = _compiled(file.id, where, "id") if file.id else None
        self._time = _compiled(file.time, where, "time") if file.time else None
        self._address = _compiled(file.address, where, "address") if file.address else None
        self._message = _compiled(file.message, where, "message") if file.message else None
        if not file.kinds:
            raise MappingError(f"{where}: kinds: no value means anything; name at least one.")

    def sighting(self, value: Any) -> Sighting:
        """What ``value``, decoded JSON, says. Raises ``Refused`` (422)."""
        said = _plain(self._kind, value)
        kind: Kind | None = self._kinds.get(said)
        if kind is None and self._ignores:
            return Sighting("", "ignored", "", "", {})
        if kind is None:
            raise Refused(422, f"The mapping says nothing of the kind {said[:60]!r}.")
        serial = _plain(self._serial, value)
        if not serial or len(serial) > SERIAL_LENGTH:
            raise Refused(422, "The mapping finds no serial, or too long a one.")
        digest = digest_of(value)
        name = _plain(self._id, value)
        if len(name) > _ID_LENGTH:
            raise Refused(422, f"The id is longer than {_ID_LENGTH} characters.")
        return Sighting(
            serial=serial,
            kind=kind,
            event=f"|i:{name}" if name else f"|h:{normal(serial)}:{kind}:{digest}",
            digest=digest,
            detail={"type": said[:200]},
            claimed_at=instant(_found(self._time, value)),
            address=_plain(self._address, value),
            message=_plain(self._message, value)[:_MESSAGE_LENGTH],
        )


def _compiled(text: str, where: str, key: str) -> Expression:
    try:
        made: Expression = jmespath.compile(text)
    except jmespath.exceptions.JMESPathError as error:
        why = str(error).splitlines()[0]
        raise MappingError(f"{where}: {key}: not a JMESPath expression: {why}") from None
    return made


def _found(expression: Expression | None, value: Any) -> Any:
    """Raises ``Refused`` where the expression does not go with what was sent."""
    if expression is None:
        return None
    try:
        return expression.search(value)
    except (jmespath.exceptions.JMESPathError, TypeError, ValueError, RecursionError):
        raise Refused(422, "The mapping does not go with what was sent.") from None


def _plain(expression: Expression | None, value: Any) -> str:
    """A text or a number as text; nothing else is one."""
    found = _found(expression, value)
    if isinstance(found, bool):
        return "true" if found else "false"
    if isinstance(found, (str, int)):
        return str(found).strip()
    return ""


def load(path: Path) -> Mapping:
    """The mapping in a file. Raises ``MappingError`` with one clear sentence."""
    try:
        data = tomllib.loads(path.read_text(encoding="utf-8-sig"))
        file = msgspec.convert(data, MappingFile)
    except OSError as error:
        raise MappingError(f"{path}: cannot be read: {error.strerror}.") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise MappingError(f"{path}: not valid TOML: {error}.") from None
    except msgspec.ValidationError as error:
        raise MappingError(f"{path}: {error}.") from None
    return Mapping(file, str(path))
