"""What the team orders about the contact's page."""

from bot.model.fact import Ordered
from bot.model.visit.page_events import PageRevoked
from bot.model.visit.turn import Turn

ORDERS = ("revoke_page", "send_page")


def ordered(turn: Turn, fact: Ordered) -> None:
    """End all links that were given out, or mail the contact the one that opens the page now."""
    visit, by = turn.visit, fact.actor.user
    if fact.order == "send_page":
        turn.mail_person(visit.contact, "page_link", start=visit.start)
        return
    turn.emit(PageRevoked(visit.page.generation + 1, by))
    turn.note("staff_page_revoked", who=turn.context.roster.name(by))
