"""What a person's words were understood to mean: the narrow gate between reader and model."""

from typing import Literal

import msgspec

from bot.model.runbook import AskKind, Colour, Mode

#: Worst first; what is done or agreed stands before what is asked beside it.
Kind = Literal[
    "danger",  # stop at once
    "stop",  # the site must stop
    "help",  # wants a person
    "correction",  # takes back what was said before; what is right now stands beside it
    "power_cycled",  # it lost power, or was switched off and on
    "no",
    "light",  # a light is described (see Reading.pattern)
    "serial",
    "version",
    "choice",  # one of the ask's answers
    "number",  # gives a telephone number; personal, so it is not repeated here
    "later",  # needs more time (minutes, or a clock time in ``value``)
    "pause",
    "no_signal",
    "language",  # asks for another language (its tag in ``value``)
    "done",
    "yes",
    "question",  # asks something back
    "seen",  # ok, thumbs up: read, not done
    "thanks",
    "small_talk",
    "unclear",
]
#: What is asked back when the answer to an open question was not understood.
ASK_BACK: dict[AskKind | None, str] = {
    None: "ask_again",
    "consent": "ask_again",
    "begin": "ask_again",
    "mobile": "ask_again",
    "confirm": "ask_done",
    "serial": "ask_again",
    "version": "read_version_nudge",
    "choice": "ask_again",
    "light": "ask_negated",
    "callback": "callback_nudge",
    "check": "ask_again",
}


class Light(msgspec.Struct, frozen=True, gc=False):
    """A light as described; ``None`` where it was not said."""

    colour: Colour | None = None
    mode: Mode | None = None
    blinking: bool = False  # it blinks, at whatever rate
    colours: tuple[str, ...] = ()  # every colour said; ``other`` is one that no light has


class Reading(msgspec.Struct, frozen=True, gc=False, kw_only=True):
    """One thing understood. ``confidence`` is between 0 and 1; ``rule`` names why."""

    kind: Kind
    confidence: float = 1.0
    rule: str
    light: Light | None = None
    pattern: str = ""  # name of the runbook's pattern, when light fits exactly one
    minutes: int | None = None
    #: Serial, version, choice, clock time "21:30", language; of a light
    #: ``same`` (as before), ``several`` (lights at once) or ``elsewhere`` (on another thing).
    value: str = ""
    ask: str = ""  # catalogue key of the one short question to ask back; empty when sure


class Heard(msgspec.Struct, frozen=True, gc=False, kw_only=True):
    """Where the words fell: the stage and the open question."""

    stage: str
    ask: AskKind | None = None
    answers: tuple[str, ...] = ()
