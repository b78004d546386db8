"""What is missing at a site before its evening, whose it is, and by when. Pure, and cheap."""

import msgspec

from bot.model.people import by_page
from bot.model.policy import minutes
from bot.model.roster import Roster
from bot.model.runbook import Runbook
from bot.model.runbook_ready import Item, ReadyItem, ReadyOwner
from bot.model.visit.ready import OF_UNITS
from bot.model.visit.state import Visit

#: States in which a visit has yet to begin.
BEFORE = ("planned", "held", "invited", "agreed", "rebook")
#: Who settles what nobody but the bot itself is asked for.
_DAY = minutes(24 * 60)


class Gap(msgspec.Struct, frozen=True):
    """One thing that is missing. ``due`` in ms UTC; ``note`` says what is wrong, if known."""

    item: Item
    owner: ReadyOwner
    due: int
    note: str = ""

    @property
    def text(self) -> str:
        """The key of the catalogue that names it."""
        return f"gap_{self.item}_{self.note}" if self.note else f"gap_{self.item}"


def gaps(visit: Visit, book: Runbook, oncall: bool) -> tuple[Gap, ...]:
    """All that the runbook wants and is not settled; ``oncall``: somebody can be reached.

    Empty for a runbook without the section and for a visit that has begun.
    """
    section = book.ready
    if section is None or visit.state not in BEFORE:
        return ()
    return tuple(
        Gap(
            item.id,
            _owner(visit, item),
            visit.start - round(item.days * _DAY),
            note(visit, item.id),
        )
        for item in section.items
        if not settled(visit, item.id, oncall)
    )


def settled(visit: Visit, item: Item, oncall: bool) -> bool:
    """Whether the item is as it should be."""
    match item:
        case "oncall":
            return oncall
        case "consent":
            again = visit.state == "rebook" and visit.ready.put_off_at is not None
            return visit.state == "agreed" or again
        case "deputy" if not _has_deputy(visit):
            return True
        case "contact" if visit.contact.disabled:
            return False
        case "deputy" if visit.deputy is not None and visit.deputy.disabled:
            return False
    word = visit.ready.word_on(item)
    serials = tuple(unit.serial for unit in visit.units)
    if word is not None and (item not in OF_UNITS or word.serials == serials):
        return word.good
    if item == "label" and set(serials) <= set(visit.ready.labels):
        return True
    return item in visit.site.ready and (item not in OF_UNITS or visit.ready.listed == serials)


def note(visit: Visit, item: Item) -> str:
    """What is known to be wrong with it; empty when it was only not heard yet."""
    if item in ("contact", "deputy"):
        person = visit.contact if item == "contact" else visit.deputy
        if person is not None and person.disabled:
            return "away"
    word = visit.ready.word_on(item)
    serials = tuple(unit.serial for unit in visit.units)
    if word is None or word.good or (item in OF_UNITS and word.serials != serials):
        return "silent" if item in visit.ready.silent else ""
    return word.note


def reachable(roster: Roster, start: int) -> bool:
    """Whether somebody is on call at the start."""
    return roster.staffed(start)


def deputy_can_press(visit: Visit) -> bool:
    """Whether the deputy has a chat account: a letter has no buttons to confirm by."""
    return visit.deputy is not None and not by_page(visit.deputy.user)


def _has_deputy(visit: Visit) -> bool:
    return visit.deputy is not None and visit.deputy.user != visit.contact.user


def _owner(visit: Visit, item: ReadyItem) -> ReadyOwner:
    """What the people of the site did not answer, or said to be wrong, is the admin's."""
    if item.id == "deputy" and not deputy_can_press(visit):
        return "admin"
    of_site = item.owner in ("contact", "deputy")
    return "admin" if of_site and note(visit, item.id) not in ("", "not_here") else item.owner
