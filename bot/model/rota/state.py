"""The snapshot of the rota, what happens to it, and what its snapshot becomes."""

from collections.abc import Callable
from typing import Literal

import msgspec
from msgspec.structs import replace

from bot.model.event import Event

SCHEMA = 1
WayState = Literal["asked", "confirmed", "failed"]


class WayTest(msgspec.Struct, frozen=True, omit_defaults=True, gc=False):
    """One way of a person in this shift; ``message``: the newest that went out by it."""

    way: str
    state: WayState = "asked"
    message: str = ""
    at: int | None = None  # when it was confirmed


class ShiftTest(msgspec.Struct, frozen=True, omit_defaults=True, gc=False):
    """One person's shift. ``due``: when what is not confirmed is looked at; none: never again."""

    user: str
    test: str
    since: int
    until: int
    ways: tuple[WayTest, ...] = ()
    due: int | None = None
    reminded: bool = False

    def confirmed(self, at: int) -> tuple[str, ...]:
        """The ways that are known to reach them at ``at``."""
        if not self.since <= at < self.until:
            return ()
        return tuple(w.way for w in self.ways if w.state == "confirmed")

    @property
    def open(self) -> tuple[WayTest, ...]:
        return tuple(w for w in self.ways if w.state != "confirmed")


class Rota(msgspec.Struct, frozen=True, gc=False, kw_only=True):
    schema: int = SCHEMA
    made: int = 0
    next_at: int | None = None  # when the next shift begins
    shifts: tuple[ShiftTest, ...] = ()  # the newest of each person

    def of(self, user: str) -> ShiftTest | None:
        return next((s for s in self.shifts if s.user == user), None)


class Looked(Event, frozen=True, tag="looked"):
    """The roster was looked at; ``gone`` are no longer in it."""

    next_at: int | None
    gone: tuple[str, ...] = ()


class ShiftBegan(Event, frozen=True, tag="shift_began"):
    user: str
    test: str
    since: int
    until: int
    ways: tuple[str, ...]
    due: int


class WayAsked(Event, frozen=True, tag="way_asked"):
    """The test went out by this way, the first time or once more."""

    user: str
    way: str
    message: str


class WayConfirmed(Event, frozen=True, tag="way_confirmed"):
    user: str
    way: str


class WayFailed(Event, frozen=True, tag="way_failed"):
    user: str
    way: str
    why: str


class AskedAgain(Event, frozen=True, tag="asked_again"):
    user: str
    due: int


class TimeOver(Event, frozen=True, tag="time_over"):
    """Its time is over and not all is confirmed: others were told. It may still be confirmed."""

    user: str


RotaEvent = Looked | ShiftBegan | WayAsked | WayConfirmed | WayFailed | AskedAgain | TimeOver


def evolve(rota: Rota | None, event: RotaEvent, at: int) -> Rota:
    """The rota after ``event``."""
    rota = rota or Rota()
    match event:
        case Looked():
            left = tuple(s for s in rota.shifts if s.user not in event.gone)
            return replace(rota, next_at=event.next_at, shifts=left)
        case ShiftBegan():
            ways = tuple(WayTest(way) for way in event.ways)
            new = ShiftTest(event.user, event.test, event.since, event.until, ways, event.due)
            others = tuple(s for s in rota.shifts if s.user != event.user)
            return replace(rota, made=rota.made + 1, shifts=(*others, new))
        case WayAsked():
            sent = event.message
            return _way(rota, event, lambda w: replace(w, state="asked", message=sent))
        case WayConfirmed():
            return _settled(_way(rota, event, lambda w: replace(w, state="confirmed", at=at)))
        case WayFailed():
            return _way(rota, event, lambda w: replace(w, state="failed"))
        case AskedAgain():
            return _shift(rota, event.user, lambda s: replace(s, reminded=True, due=event.due))
        case TimeOver():
            return _shift(rota, event.user, lambda s: replace(s, due=None))


def _shift(rota: Rota, user: str, change: Callable[[ShiftTest], ShiftTest]) -> Rota:
    return replace(rota, shifts=tuple(change(s) if s.user == user else s for s in rota.shifts))


def _way(
    rota: Rota,
    event: WayAsked | WayConfirmed | WayFailed,
    change: Callable[[WayTest], WayTest],
) -> Rota:
    def changed(shift: ShiftTest) -> ShiftTest:
        ways = tuple(change(w) if w.way == event.way else w for w in shift.ways)
        return replace(shift, ways=ways)

    return _shift(rota, event.user, changed)


def _settled(rota: Rota) -> Rota:
    """A shift whose ways are all confirmed has nothing left to be looked at."""
    return replace(
        rota,
        shifts=tuple(replace(s, due=None) if not s.open else s for s in rota.shifts),
    )
