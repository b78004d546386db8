"""The time by which signatures are judged, when the machine's clock has just been put.

Senders go by the right time. A clock that jumps makes all of them look too old or too new, and
they would be refused, not asked to come again. For as long as a jump waits to be confirmed
(``bot.jumps``) a signature may fit either clock: the one that jumped, or the one that runs on.
"""

from collections.abc import Callable

from bot.jumps import JUMP_MS, JUMP_WAIT


class Steady:
    """``wall`` and ``monotonic`` give seconds."""

    def __init__(self, wall: Callable[[], float], monotonic: Callable[[], float]) -> None:
        self._wall, self._monotonic = wall, monotonic
        self._anchor = (wall(), monotonic())
        self._put: float | None = None  # when a jump was seen that is not confirmed

    def nearest(self, stamp: float) -> float:
        """Now; of two times that may be right the one that is nearer to ``stamp``."""
        wall, monotonic = self._wall(), self._monotonic()
        steady = self._anchor[0] + monotonic - self._anchor[1]
        if abs(wall - steady) * 1000 > JUMP_MS:
            if self._put is None:
                self._put = monotonic
            if monotonic - self._put < JUMP_WAIT:
                return min((wall, steady), key=lambda now: abs(now - stamp))
        self._anchor, self._put = (wall, monotonic), None
        return wall
