"""The contact's page as the visit knows it: which of its links still opens it."""

from typing import TYPE_CHECKING

import msgspec
from msgspec.structs import replace

from bot.model.event import Event

if TYPE_CHECKING:
    from bot.model.visit.state import Visit


class Page(msgspec.Struct, frozen=True, gc=False, omit_defaults=True):
    """``generation``: links of an older one open nothing any more."""

    generation: int = 0


class PageRevoked(Event, frozen=True, tag="page_revoked"):
    """All links given out so far have ended; those of ``generation`` open the page."""

    generation: int
    by: str


PageEvent = PageRevoked


def apply(visit: "Visit", event: PageEvent, at: int) -> "Visit":  # noqa: ARG001
    return replace(visit, page=replace(visit.page, generation=event.generation))
