"""What a status light shows: flash rates as modes, and descriptions as the runbook's patterns.

Flash rates are those of IEC 60073 (from memory): slow 0.4 to 0.8 Hz, normal 1.4 to 2.8 Hz,
which people call fast. About 2 blinks in 5 seconds (0.4 Hz) counts as slow: common practice,
no published source.
"""

from collections.abc import Collection

from bot.model.reading import Light
from bot.model.runbook import NORMAL_BAND, SLOW_BAND, Colour, Mode, Runbook

BLINKING: frozenset[Mode] = frozenset(("slow", "fast"))
ANY_MODE: frozenset[Mode] = frozenset(("steady", "slow", "fast", "off"))


def mode_of(hz: float) -> Mode | None:
    """The mode of a flash rate in Hz; none between and outside the bands: ask, do not guess."""
    for mode, (least, most) in (("slow", SLOW_BAND), ("fast", NORMAL_BAND)):
        if least <= hz <= most:
            return "slow" if mode == "slow" else "fast"
    return None


def fitting(colour: Colour | None, modes: Collection[Mode], book: Runbook) -> list[str]:
    """Names of the patterns that fit; no colour fits all colours, and off has none."""
    return [
        name
        for name, pattern in book.patterns.items()
        if pattern.mode in modes and colour in {None, pattern.colour}
    ]


def pattern_of(light: Light, book: Runbook) -> str | None:
    """The one pattern a described light fits; none when it fits several or none at all."""
    modes = ANY_MODE if light.mode is None else (light.mode,)
    names = fitting(light.colour, modes, book)
    return names[0] if len(names) == 1 else None
