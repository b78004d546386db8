"""The wall clock watched against the monotonic one: no deadline fires by a jump of it."""

#: A wall clock that jumps by more than this (ms) against the monotonic one is reported.
JUMP_MS = 5_000
#: How long (seconds of process time) a jump waits to be confirmed.
JUMP_WAIT = 60.0


class Jumps:
    """``look`` at both clocks often. ``wall`` in ms, ``monotonic`` in seconds.

    The monotonic clock stands still while the machine sleeps, so a machine that wakes up looks
    like a clock that was put forward: both are time in which nobody could reach us.
    """

    def __init__(self, wall: int, monotonic: float) -> None:
        self._wall, self._monotonic = wall, monotonic
        self._since, self._drift = 0, 0.0
        self._until: float | None = None
        self.seen: float | None = None  # the jump found by the last look, in seconds

    @property
    def waiting(self) -> bool:
        """A jump was seen, and is not confirmed yet."""
        return self._until is not None

    def look(self, wall: int, monotonic: float) -> tuple[int, int] | None:
        """Wall time that we did not live through, once the minute after a jump is over."""
        drift = (wall - self._wall) - (monotonic - self._monotonic) * 1000
        self.seen = None
        if abs(drift) > JUMP_MS:
            self.seen = drift / 1000
            self._since = self._since if self.waiting else self._wall
            self._drift += drift
            self._until = monotonic + JUMP_WAIT
        self._wall, self._monotonic = wall, monotonic
        if self._until is None or monotonic < self._until:
            return None
        found = (self._since, round(self._since + self._drift))
        self._until, self._drift = None, 0.0
        return found if found[1] > found[0] else None
