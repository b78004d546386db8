"""How much of it: nesting, headers, requests a minute."""

from collections.abc import Callable
from typing import Any

import msgspec

from handlers.intake.problems import Refused

HEADERS = 64
_decode = msgspec.json.Decoder().decode


def json_of(body: bytes, depth: int) -> Any:
    """The body as JSON, at most ``depth`` objects and lists deep. Raises ``Refused``."""
    try:
        value = _decode(body)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        raise Refused(400, "The body is not valid JSON.") from None
    # So many brackets cannot nest deeper; only a body with more of them is looked through.
    if body.count(b"{") + body.count(b"[") > depth and deeper(value, depth):
        raise Refused(400, f"More than {depth} objects and lists inside each other.")
    return value


def deeper(value: Any, most: int) -> bool:
    """Whether more than ``most`` objects and lists stand inside each other."""
    level = [value]
    for _ in range(most):
        below: list[Any] = []
        for one in level:
            if isinstance(one, dict):
                below.extend(one.values())
            elif isinstance(one, list):
                below.extend(one)
        level = [one for one in below if isinstance(one, (dict, list))]
        if not level:
            return False
    return True


class Rate:
    """Requests a minute, with as much at once as a tenth of it; 0 is no limit.

    ``clock`` gives seconds of process time. Only what is let in has a share in it, so that nobody
    without a key can use it up.
    """

    def __init__(self, a_minute: int, clock: Callable[[], float]) -> None:
        self._a_second, self._clock = a_minute / 60, clock
        self._most = max(1.0, a_minute / 10)
        self._left, self._at = self._most, clock()

    def take(self) -> None:
        """Raises ``Refused`` (429, RFC 6585 section 4) when there is none left."""
        if not self._a_second:
            return
        now = self._clock()
        self._left = min(self._most, self._left + (now - self._at) * self._a_second)
        self._at = now
        if self._left < 1:
            wait = max(1, -(-(1 - self._left) // self._a_second))
            raise Refused(
                429, "More requests than this source may send.", Retry_After=f"{wait:.0f}"
            )
        self._left -= 1
