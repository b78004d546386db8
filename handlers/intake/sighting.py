"""What a sender says of one unit, whatever form it came in."""

from datetime import datetime
from hashlib import sha256
from typing import Any, Literal, NamedTuple

import msgspec

#: ``ignored`` is understood and of no concern here: answered, not kept.
Kind = Literal["registered", "lost", "alive", "progress", "ignored"]
SERIAL_LENGTH = 128
_encode = msgspec.json.Encoder(order="deterministic").encode


class Sighting(NamedTuple):
    """``event`` is its name, distinct within the source; ``digest`` stands for all it says."""

    serial: str
    kind: Kind
    event: str
    digest: str
    detail: dict[str, str]
    claimed_at: int | None = None  # ms since 1970, what the sender's clock said
    address: str = ""  # the unit's own, as far as it is known
    progress: str = ""  # progress type of RFC 8572
    message: str = ""


def digest_of(value: Any) -> str:
    """The same for the same content, however it was laid out: bytes, or what JSON gives."""
    raw = value if isinstance(value, bytes) else _encode(value)
    return sha256(raw).hexdigest()[:24]


def instant(text: Any) -> int | None:
    """RFC 3339 to ms since 1970; ``None`` for anything else: a wrong clock loses no event."""
    if isinstance(text, str) and 20 <= len(text) <= 40:
        try:
            when = datetime.fromisoformat(text)
        except ValueError:
            return None
        if when.tzinfo is not None:
            try:
                return round(when.timestamp() * 1000)
            except (OverflowError, ValueError):
                return None
    return None
