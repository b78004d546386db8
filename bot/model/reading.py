"""What a person's words were understood to mean: the narrow gate between reader and model."""

from typing import Literal

import msgspec

from bot.model.runbook import AskKind, Colour, Mode

Kind = Literal[
    "danger",  # stop at once
    "stop",  # the site must stop
    "help",  # wants a person
    "power_cycled",  # it lost power, or was switched off and on
    "no",
    "light",  # a light is described (see Reading.pattern)
    "serial",
    "version",
    "choice",  # one of the ask's answers
    "later",  # needs more time (minutes, or a clock time in ``value``)
    "pause",
    "no_signal",
    "question",  # asks something back
    "done",
    "yes",
    "seen",  # ok, thumbs up: read, not done
    "thanks",
    "small_talk",
    "unclear",
]


class Light(msgspec.Struct, frozen=True):
    """A light as described; ``None`` where it was not said."""

    colour: Colour | None = None
    mode: Mode | None = None


class Reading(msgspec.Struct, frozen=True, kw_only=True):
    """One thing understood. ``confidence`` is between 0 and 1; ``rule`` names why."""

    kind: Kind
    confidence: float = 1.0
    rule: str
    light: Light | None = None
    pattern: str = ""  # name of the runbook's pattern, when light fits exactly one
    minutes: int | None = None
    value: str = ""  # serial, version, choice, clock time "21:30"
    ask: str = ""  # catalogue key of the one short question to ask back; empty when sure


class Heard(msgspec.Struct, frozen=True, kw_only=True):
    """Where the words fell: the stage and the open question."""

    stage: str
    ask: AskKind | None = None
    answers: tuple[str, ...] = ()
