"""Units that were swapped for a spare, and old units on their way back. Instants in ms UTC."""

from typing import Literal, get_args

import msgspec

from bot.model.serial import normal

Reason = Literal["damaged", "dead", "wrong", "missing"]
Source = Literal["store", "other_site", "maker"]
REASONS: tuple[str, ...] = get_args(Reason)
SOURCES: tuple[str, ...] = get_args(Source)
#: ``stays``: to be kept; ``to_send``: the site was asked to send it; ``back``: it has arrived.
Stage = Literal["stays", "to_send", "sent", "back"]


class Swap(msgspec.Struct, frozen=True, omit_defaults=True):
    """One unit withdrawn. ``new`` is empty while the spare's serial is not known."""

    old: str
    reason: str
    source: str
    by: str
    at: int
    new: str = ""
    model: str = ""
    start: int | None = None  # the new date; ``None``: not known yet
    reminded_at: int | None = None  # when the team was last told what is missing


class Return(msgspec.Struct, frozen=True, omit_defaults=True):
    """A unit that goes back: the replaced old one, or a withdrawn one."""

    serial: str  # empty for the old one where the site list does not name it
    what: Literal["old", "withdrawn"]
    at: int
    stage: Stage = "stays"
    due: int | None = None  # the next reminder
    reminded: int = 0
    tracking: str = ""
    wiped_by: str = ""
    wiped_at: int | None = None


class Spares(msgspec.Struct, frozen=True, omit_defaults=True):
    """The default means: nothing was swapped, and nothing goes back yet."""

    swaps: tuple[Swap, ...] = ()
    lent: tuple[str, ...] = ()  # serials given to another site
    returns: tuple[Return, ...] = ()

    @property
    def waiting(self) -> Swap | None:
        """The swap that still lacks its spare's serial or its date."""
        return next((s for s in self.swaps if not s.new or s.start is None), None)

    def withdraws(self, serial: str) -> bool:
        """Whether the serial was withdrawn here, and has not come back and been wiped since."""
        wanted = normal(serial)
        if not any(normal(swap.old) == wanted for swap in self.swaps):
            return False
        return not any(
            normal(r.serial) == wanted and r.stage == "back" and r.wiped_at is not None
            for r in self.returns
        )

    def gave(self, serial: str) -> bool:
        wanted = normal(serial)
        return any(normal(one) == wanted for one in self.lent)
