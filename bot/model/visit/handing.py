"""A visit that is to be passed on to another person of the site: its state.

Instants are milliseconds of wave time. The code itself is nowhere kept (``bot.model.visit.code``).
"""

import msgspec


class CodeOffer(msgspec.Struct, frozen=True, gc=False, omit_defaults=True):
    """One code: for whoever shows it and then says yes, once, until ``until``."""

    id: str
    by: str  # chat user who passes the visit on
    mark: str  # stands for the code where it is looked for
    until: int
    shown: tuple[str, ...] = ()  # users who showed it; they are asked whether they take over
    wrong: int = 0  # wrong codes in the visit's own thread


class Handing(msgspec.Struct, frozen=True, gc=False, omit_defaults=True):
    """``due``: when on-call hears that nobody has taken over."""

    offer: CodeOffer | None = None
    made: int = 0  # codes so far, for their ids
    said_at: int | None = None  # when they said that they have to go
    timed: bool = False  # they said when
    due: int | None = None
    first: str = ""  # the plan's contact, since somebody else took over
