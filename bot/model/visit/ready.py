"""What is known of a visit before its evening. Instants are milliseconds of wave time."""

import msgspec

from bot.model.runbook_ready import Item

#: What is of the units, and holds only while they are the same.
OF_UNITS: frozenset[Item] = frozenset(("carton", "label", "registry"))
#: What holds for another evening too; the rest is asked again.
LASTING: frozenset[Item] = OF_UNITS | {"line"}


class Known(msgspec.Struct, frozen=True, gc=False, omit_defaults=True):
    """The newest word on one item. ``by`` is a chat user, or ``registry``."""

    item: Item
    good: bool
    at: int
    by: str
    note: str = ""  # what is wrong: not_here, damaged, other_serial, away, ...
    serials: tuple[str, ...] = ()  # the visit's units at that time


class Ready(msgspec.Struct, frozen=True, gc=False, omit_defaults=True):
    """``listed``: the serials of the plan for which the site list speaks."""

    listed: tuple[str, ...] = ()
    opened_at: int | None = None  # the contact said yes: from here the site is asked
    known: tuple[Known, ...] = ()
    labels: tuple[str, ...] = ()  # serials that were read from their cartons
    free_at: int | None = None  # when the last ask was answered or given up
    deputy_asked: tuple[int, ...] = ()
    silent: tuple[Item, ...] = ()  # nobody answered: the admin has them
    team_told_at: int | None = None  # the team has the site's line
    told: tuple[Item, ...] = ()  # what that line named, and was not settled since
    put_off_at: int | None = None  # it was agreed, and was put off because of gaps
    anyway: str = ""  # who starts it although something is missing

    def word_on(self, item: str) -> Known | None:
        return next((known for known in self.known if known.item == item), None)


def carried(ready: Ready, serials: tuple[str, ...], listed: bool) -> Ready:
    """What still holds when the visit is planned anew with these units.

    ``listed``: the site list says something of them.
    """
    return Ready(
        listed=serials if listed else (),
        known=tuple(known for known in ready.known if known.item in LASTING),
        labels=ready.labels,
    )
