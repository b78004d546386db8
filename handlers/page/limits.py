"""How much, and how often, comes in by pages."""

from collections import OrderedDict
from collections.abc import Callable

#: Characters of words in one go. The longest the reader looks through at once.
WORDS = 2000
#: Bytes of one photo. A telephone's own are smaller; scripts make them smaller still.
PHOTO = 6 * 1024 * 1024
#: Photos kept of one person; an evening has a few.
PHOTOS = 40
#: Bytes of a whole form: a photo and what stands around it.
FORM = PHOTO + 64 * 1024
#: What a browser sends of how long an answer was kept there, at most: ms.
WAITED = 48 * 3600 * 1000

_REMEMBERED = 4096


class Bucket:
    """Requests a minute from each of many, with some at once. ``clock``: seconds, monotonic."""

    def __init__(self, a_minute: float, at_once: int, clock: Callable[[], float]) -> None:
        self._a_second, self._most, self._clock = a_minute / 60, float(at_once), clock
        self._left: OrderedDict[str, tuple[float, float]] = OrderedDict()

    def take(self, who: str) -> bool:
        """Whether there is one left for ``who``; if so, it is taken."""
        now = self._clock()
        left, at = self._left.pop(who, (self._most, now))
        left = min(self._most, left + (now - at) * self._a_second)
        allowed = left >= 1
        self._left[who] = (left - 1 if allowed else left, now)
        while len(self._left) > _REMEMBERED:
            self._left.popitem(last=False)
        return allowed


class Limits:
    """For each link and each address. Many people of one site may share an address."""

    def __init__(self, clock: Callable[[], float]) -> None:
        self._reads = Bucket(60, 30, clock)
        self._answers = Bucket(30, 20, clock)
        self._address = Bucket(600, 200, clock)
        self._strangers = Bucket(20, 10, clock)

    def read(self, token: str, address: str) -> bool:
        return self._address.take(address) and self._reads.take(token)

    def answer(self, token: str, address: str) -> bool:
        return self._address.take(address) and self._answers.take(token)

    def stranger(self, address: str) -> bool:
        """Somebody without a link that is ours."""
        return self._strangers.take(address)
