"""A visit of a runbook that wants things settled before the evening, walked by hand."""

from typing import Any

from msgspec.structs import replace

from bot.model.fact import Actor
from bot.model.runbook import Runbook
from bot.model.runbook_ready import ReadyItem, ReadySection
from bot.model.visit.state import Plan
from tests.model.kit import ADMIN, CONTACT, ONCALL, START, Walk, book, context, plan

HOUR = 60
DAY = 24 * HOUR
SECTION = ReadySection(
    items=(
        ReadyItem(id="carton", owner="contact", days=2),
        ReadyItem(id="label", owner="contact", days=2),
        ReadyItem(id="line", owner="carrier", days=1),
        ReadyItem(id="registry", owner="admin", days=1),
        ReadyItem(id="contact", owner="contact", days=1),
        ReadyItem(id="deputy", owner="deputy", days=1),
        ReadyItem(id="consent", owner="contact", days=2),
        ReadyItem(id="oncall", owner="oncall", days=0),
    )
)


def ready_book(section: ReadySection = SECTION) -> Runbook:
    return book().model_copy(update={"ready": section})


def listed(*items: str, **more: Any) -> Plan:
    """A plan whose list says that these items are settled."""
    made = plan(**more)
    return replace(made, site=replace(made.site, ready=items))


def walk(made: Plan | None = None, section: ReadySection = SECTION) -> Walk:
    """Five days before the start, nobody asked yet."""
    return Walk(
        made or plan(), at=START - 5 * DAY * 60_000, context=context(book=ready_book(section))
    )


def agreed(made: Plan | None = None) -> Walk:
    return walk(made).agree()


def settle(one: Walk, *items: str, by: Actor = ADMIN) -> None:
    for item in items:
        assert one.order("ready", by, item=item, value="yes") == "ok", item


def all_of_team(one: Walk) -> None:
    settle(one, "line", by=ONCALL)
    settle(one, "registry", by=ADMIN)


def press_ready(one: Walk, verb: str, user: Actor | str) -> str:
    return one.press_action(f"r:{one.visit.start}:{verb}", user)


__all__ = ["ADMIN", "CONTACT", "DAY", "HOUR", "ONCALL", "START"]
