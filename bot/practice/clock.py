"""The wave clock of a rehearsal: stands still until it is moved."""


class WaveClock:
    """Wave time in ms. ``now`` is handed to every part that needs the time."""

    def __init__(self, at: int) -> None:
        self.at = at

    def now(self) -> int:
        return self.at

    def move(self, to: int) -> None:
        """Step forward. Raises ``ValueError`` for a step back: a rehearsal's time never does."""
        if to < self.at:
            raise ValueError(f"wave time cannot go back from {self.at} to {to}")
        self.at = to
