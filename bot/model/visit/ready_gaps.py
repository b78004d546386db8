"""What is missing at a site before its evening, whose it is, and by when. Pure, and cheap."""

import msgspec

from bot.model.people import by_page
from bot.model.policy import minutes
from bot.model.runbook import Runbook
from bot.model.runbook_ready import Item, ReadyItem, ReadyOwner
from bot.model.visit.ready import OF_UNITS, Known
from bot.model.visit.state import Visit

#: States in which a visit has yet to begin.
BEFORE = ("planned", "held", "invited", "agreed", "rebook")
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
    word = _word(visit, item)
    if word is not None:
        return word.good
    if item == "label" and set(visit.serials) <= set(visit.ready.labels):
        return True
    return item in visit.site.ready and _still(visit, item, visit.ready.listed)


def note(visit: Visit, item: Item) -> str:
    """What is known to be wrong with it; empty when it was only not heard yet."""
    if item in ("contact", "deputy"):
        person = visit.contact if item == "contact" else visit.deputy
        if person is not None and person.disabled:
            return "away"
    word = _word(visit, item)
    if word is None or word.good:
        return "silent" if item in visit.ready.silent else ""
    return word.note


def _word(visit: Visit, item: Item) -> Known | None:
    """The newest word on the item, unless it was about other units."""
    word = visit.ready.word_on(item)
    return word if word is not None and _still(visit, item, word.serials) else None


def _still(visit: Visit, item: Item, serials: tuple[str, ...]) -> bool:
    """Whether what was said of these units holds for those of the visit."""
    return item not in OF_UNITS or serials == visit.serials


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
