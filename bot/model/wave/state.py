"""The snapshot of a wave, what happens to it, and what its snapshot becomes."""

from typing import Literal

import msgspec
from msgspec.structs import replace

from bot.model.calls.event import CallEvent, Raised
from bot.model.calls.event import evolve as evolve_calls
from bot.model.calls.state import Call
from bot.model.event import Event

SCHEMA = 1
WaveState = Literal["planned", "open", "closed"]


class WavePlan(msgspec.Struct, frozen=True, gc=False):
    """What an import says of the wave itself. ``staged`` names the rows waiting to go live."""

    channels: tuple[str, ...]
    opens_at: int
    staged: str = ""
    sites: int = 0
    tz: str = "UTC"  # of most of its sites: when the team's morning is


class Wave(msgspec.Struct, frozen=True, gc=False, kw_only=True):
    schema: int = SCHEMA
    name: str
    state: WaveState = "planned"
    channels: tuple[str, ...] = ()
    opens_at: int = 0
    holds: tuple[str, ...] = ()  # why new starts are held; empty: they are not
    calls: tuple[Call, ...] = ()
    made: int = 0
    pin_at: int | None = None  # when the pinned summary is looked at again
    pin_rev: int = 0
    away_until: int | None = None  # the last time we were away, told to the team
    tz: str = "UTC"
    handover_at: int | None = None  # when the next morning's handover is posted
    pinned: str = ""  # what the pin last said, to leave it alone when nothing changed

    @property
    def held(self) -> bool:
        return bool(self.holds)


class WavePlanned(Event, frozen=True, tag="wave_planned"):
    plan: WavePlan


class Opened(Event, frozen=True, tag="opened"):
    pass


class OpeningPutOff(Event, frozen=True, tag="opening_put_off"):
    """Nobody who can be woken is on call: the wave does not open."""

    until: int


class HoldSet(Event, frozen=True, tag="hold_set"):
    why: str
    by: str = ""


class HoldLifted(Event, frozen=True, tag="hold_lifted"):
    by: str


class PinSet(Event, frozen=True, tag="pin_set"):
    """The pinned summary was looked at; ``rev`` rises when it said something new."""

    rev: int
    text: str
    next_at: int | None


class HandoverSet(Event, frozen=True, tag="handover_set"):
    """The morning's handover was looked at, or comes for the first time; then at ``next_at``."""

    next_at: int | None
    posted: bool = False


class WaveClosed(Event, frozen=True, tag="wave_closed"):
    pass


class Away(Event, frozen=True, tag="away"):
    since: int
    until: int
    why: str


class Noted(Event, frozen=True, tag="noted"):
    """Heard of something that changes nothing here, kept for the record."""

    what: str
    site: str = ""


WaveEvent = (
    WavePlanned
    | Opened
    | OpeningPutOff
    | HoldSet
    | HoldLifted
    | PinSet
    | HandoverSet
    | WaveClosed
    | Away
    | Noted
    | CallEvent
)


def evolve(wave: Wave | None, event: WaveEvent, at: int, name: str = "") -> Wave:
    """The wave after ``event``. Raises ``LookupError`` when there is no wave yet."""
    if wave is None:
        if not isinstance(event, WavePlanned):
            raise LookupError(f"{type(event).__name__} on a wave that was never planned")
        wave = Wave(name=name)
    if isinstance(event, CallEvent):
        made = wave.made + isinstance(event, Raised)
        return replace(wave, calls=evolve_calls(wave.calls, event, at), made=made)
    match event:
        case WavePlanned():
            plan = event.plan
            state: WaveState = "open" if wave.state == "open" else "planned"
            return replace(
                wave, state=state, channels=plan.channels, opens_at=plan.opens_at, tz=plan.tz
            )
        case Opened():
            return replace(wave, state="open", pin_at=at)
        case OpeningPutOff():
            return replace(wave, opens_at=event.until)
        case Away():
            return replace(wave, away_until=max(event.until, wave.away_until or 0))
        case HoldSet():
            return replace(wave, holds=(*wave.holds, event.why))
        case HoldLifted():
            return replace(wave, holds=())
        case PinSet():
            return replace(wave, pin_rev=event.rev, pinned=event.text, pin_at=event.next_at)
        case HandoverSet():
            return replace(wave, handover_at=event.next_at)
        case WaveClosed():
            return replace(wave, state="closed", pin_at=at)
    return wave
