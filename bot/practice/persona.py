"""Simulated site contacts: how each kind of person answers what the bot asks."""

from dataclasses import dataclass
from typing import Literal

from bot.practice.device import Flaw
from bot.practice.dice import dice

Habit = Literal[
    "smooth",
    "silent",  # never begins
    "asks_time",  # needs 15 more minutes at first
    "wordless",  # does everything, reports nothing once the power is on
    "wrong_unit",
    "stops",
    "danger",
    "power_cut",
    "no_signal",
    "no_lead",
    "refuses",
    "wants_help",
]


@dataclass(frozen=True)
class Persona:
    """One contact's habit and the unit's flaw; ``types`` is the share of typed answers."""

    habit: Habit = "smooth"
    flaw: Flaw = ""
    types: float = 0.4


#: One of each in a wave of at least this many sites; the rest are smooth.
SPECIAL: tuple[Persona, ...] = (
    Persona("silent"),
    Persona("asks_time"),
    Persona("wordless"),
    Persona("smooth", "loose_cable"),
    Persona("smooth", "dead_line"),
    Persona("smooth", "fault"),
    Persona("smooth", "not_in_registry"),
    Persona("wrong_unit"),
    Persona("stops"),
    Persona("danger"),
    Persona("power_cut"),
    Persona("no_signal"),
    Persona("no_lead"),
    Persona("refuses"),
    Persona("wants_help"),
)
_SITES_PER_ROUND = 40


def cast(sites: list[str], seed: int) -> dict[str, Persona]:
    """Who is who: about as many special people among any number of sites."""
    names = sorted(sites)
    order = dice(seed, "cast")
    order.shuffle(names)
    rounds = max(1, round(len(names) / _SITES_PER_ROUND))
    special = [p for _ in range(rounds) for p in SPECIAL][: max(0, len(names) * 2 // 3)]
    return {
        name: special[i] if i < len(special) else Persona(types=order.choice((0.0, 0.3, 0.8)))
        for i, name in enumerate(names)
    }
