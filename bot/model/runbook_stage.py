"""What runbooks are made of: asks, stages, routes; a section of its own builds on these.

Minutes are wave-time minutes. A *checkpoint* is when we ask again if we have not heard; a
*window* is when silence becomes an escalation; both count from the confirmed delivery of
the question, and the window is never shorter than the checkpoint.
"""

from typing import Annotated, Literal, Self

import msgspec
from pydantic import BaseModel, ConfigDict, Field, model_validator

Minutes = Annotated[float, Field(gt=0, le=7 * 24 * 60)]
Colour = Literal["white", "green", "yellow", "red"]  # blue is mandatory action: not used
Mode = Literal["steady", "slow", "fast", "off"]
Scope = Literal["visit", "unit"]
AskKind = Literal[
    "consent",  # yes / other time / no
    "begin",  # here / later / not tonight
    "mobile",  # done over mobile data / no signal
    "confirm",  # done
    "serial",  # read the label
    "version",  # read the label
    "choice",  # one of the listed answers
    "light",  # what the light shows
    "callback",  # a telephone number and a time to call
    "check",  # works / does not work / there is none
]
#: What to do when a light pattern is seen at a stage.
LightDo = Literal["wait", "next", "success", "check_cable", "check_power", "call"]
#: What a site list names for its site: a stage may be repeated for each.
Listed = Literal["cables", "checks"]
Owner = Literal["deputy", "admin", "oncall"]
Severity = Literal["warning", "minor", "major", "critical"]  # RFC 8632
Cause = Literal[
    "danger",
    "fault",
    "mismatch",
    "silent",
    "help",
    "dead_line",
    "missing_part",
    "not_started",
    "no_registration",
    "without_service",
    "lost",
    "over_time",
    "stop",
    "unreachable",
    "power_twice",
    "no_signal",
    "held",
    "not_understood",
    "back_out",  # optional in a runbook, as are those below: see DEFAULT_ROUTES
    "damaged",
    "leaving",
    "morning",
    "site_check",
]

#: Flash rates of IEC 60073, in Hz (from memory): slow 0.4 to 0.8, normal 1.4 to 2.8.
SLOW_BAND = (0.4, 0.8)
NORMAL_BAND = (1.4, 2.8)


class Part(BaseModel):
    """Base: unknown keys are errors, values cannot be changed after loading."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Eligible(Part):
    """A model that may be installed by a site contact, and the least software it needs."""

    least_version: str = Field(pattern=r"^\d+(\.\d+)*$", description="for example 4.2.0")
    unattended: bool = Field(default=True, description="can install itself without an engineer")


class Pattern(Part):
    """One thing the status light can show."""

    colour: Colour | None = Field(default=None, description="none when the light is off")
    mode: Mode
    means: str = Field(description="key of the catalogue that says it in plain words")

    @model_validator(mode="after")
    def _off_has_no_colour(self) -> Self:
        if (self.mode == "off") != (self.colour is None):
            raise ValueError("a light that is off has no colour, any other has one")
        return self


class Blink(Part):
    """The unit's own two flash rates in Hz, inside the bands of IEC 60073."""

    slow: float = Field(ge=SLOW_BAND[0], le=SLOW_BAND[1])
    fast: float = Field(ge=NORMAL_BAND[0], le=NORMAL_BAND[1])


class Seen(Part):
    """What to do when a pattern is seen while a light question is open."""

    do: LightDo
    cause: Cause = "fault"
    say: str | None = Field(default=None, description="catalogue key, where not the usual")


class Ask(Part):
    """One message with one thing to do, and the answers we expect."""

    id: str = Field(pattern=r"^[a-z][a-z0-9_]*$")
    kind: AskKind
    text: str = Field(description="catalogue key")
    nudge: str | None = Field(default=None, description="catalogue key of the reminder")
    answers: tuple[str, ...] = Field(
        default=(), description="choice only: the answers, each a button labelled by its key"
    )
    missing: tuple[str, ...] = Field(
        default=(), description="choice only: answers that mean a part is missing"
    )


class Answer(Part):
    """What the contact may ask back, and the text that answers it."""

    topic: str = Field(pattern=r"^[a-z][a-z0-9_]*$")
    text: str = Field(description="catalogue key")
    words: dict[str, tuple[str, ...]] = Field(
        min_length=1,
        description="per language: phrases of the question (word* begins so, ~ up to three words)",
    )
    stages: tuple[str, ...] = Field(default=(), description="only at these stages; empty: at any")


class Stage(Part):
    """A step of the visit that is timed."""

    id: str = Field(pattern=r"^[a-z][a-z0-9_]*$")
    scope: Scope = "visit"
    each: Listed | None = Field(
        default=None, description="once for each cable or check that the site list names"
    )
    only_with: Listed | None = Field(
        default=None, description="only at sites whose list names some"
    )
    asks: tuple[Ask, ...] = Field(min_length=1)
    checkpoint: Minutes
    window: Minutes
    shortest: float = Field(
        default=0, ge=0, description="a success colour earlier than this is asked again"
    )
    interrupts_service: bool = Field(
        default=False, description="the site's line is down from here until the unit is online"
    )
    waits_for_registration: bool = Field(
        default=False, description="closed by the registration event alone, never by a light"
    )
    powered: bool = Field(default=False, description="losing power here restarts loading")
    plain: str | None = Field(
        default=None, description="catalogue key: what the contact would call this step"
    )
    lights: dict[str, Seen] = Field(default_factory=dict, description="by pattern name")

    @model_validator(mode="after")
    def _window_holds_checkpoint(self) -> Self:
        if self.window < self.checkpoint:
            raise ValueError("window is shorter than checkpoint")
        return self


class Step(msgspec.Struct, frozen=True, gc=False):
    """A stage as a visit comes to it."""

    stage: Stage
    unit: str  # serial, empty for a stage of the visit
    item: str = ""  # what of the site list it is about, at a stage repeated for each


class Route(Part):
    """Who is asked first about a cause, how grave it is, and in how many minutes to take it."""

    first: Owner
    severity: Severity
    minutes: Minutes


#: Causes that a runbook need not route; where it does not, they go this way (common practice, no
#: published source).
DEFAULT_ROUTES: dict[Cause, Route] = {
    "back_out": Route(first="oncall", severity="major", minutes=10),
    "damaged": Route(first="admin", severity="minor", minutes=30),
    "leaving": Route(first="oncall", severity="major", minutes=10),
    "morning": Route(first="oncall", severity="major", minutes=15),
    "site_check": Route(first="oncall", severity="major", minutes=10),
}
