"""A simulated unit: what its light shows so many minutes after power on, and when it registers.

Times: common practice, no published source: about 10 minutes from power on to software loaded,
about 5 more to the registry.
"""

from dataclasses import dataclass
from typing import Literal

from bot.practice.dice import dice

MINUTE = 60_000
Flaw = Literal["", "loose_cable", "dead_line", "fault", "not_in_registry"]


@dataclass
class Device:
    """One unit. Instants are wave time in ms; ``power_on`` starts its times afresh."""

    serial: str
    seed: int
    flaw: Flaw = ""
    powered_at: int | None = None
    seated_at: int | None = None  # a loose cable was pressed home

    def __post_init__(self) -> None:
        chance = dice(self.seed, "device", self.serial)
        self._loading = round(chance.uniform(0.4, 0.9) * MINUTE)
        self._loaded = round(chance.uniform(8.5, 11.5) * MINUTE)
        self._reached = self._loaded + round(chance.uniform(2.5, 5.5) * MINUTE)

    def power_on(self, at: int) -> None:
        self.powered_at = at

    def power_off(self) -> None:
        self.powered_at = None

    def press_cable(self, at: int) -> None:
        if self.flaw == "loose_cable":
            self.seated_at = self.seated_at or at

    def registers_at(self) -> int | None:
        """When the unit will register, as things stand now."""
        if self.powered_at is None or self.flaw in ("dead_line", "fault", "not_in_registry"):
            return None
        if self.flaw == "loose_cable":
            if self.seated_at is None:
                return None
            reached = self.powered_at + self._reached
            return max(reached, self.seated_at + 2 * MINUTE)
        return self.powered_at + self._reached

    def light(self, at: int) -> str:
        """Name of the pattern of the demo runbook that the light shows at ``at``."""
        if self.powered_at is None or at < self.powered_at:
            return "dark"
        since = at - self.powered_at
        if since < self._loading:
            return "starting"
        if self.flaw == "fault" and since >= self._loaded // 2:
            return "fault"
        if since < self._loaded:
            return "loading"
        registers = self.registers_at()
        if registers is not None:
            if self.flaw == "loose_cable" and self.seated_at is not None and at < registers:
                return "reaching"
            return "registered" if at >= registers else "reaching"
        if self.flaw == "not_in_registry":
            return "registered" if since >= self._reached else "reaching"
        return "not_reached" if since >= self._loaded + MINUTE else "reaching"

    def next_change(self, at: int) -> int | None:
        """The next instant after ``at`` at which the light shows something else, to a second."""
        shown = self.light(at)
        for ahead in range(1_000, 30 * MINUTE, 1_000):
            if self.light(at + ahead) != shown:
                return at + ahead
        return None
