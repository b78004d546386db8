"""What wakes people, put together from the settings: webhooks, links, and the look at the rota."""

from collections.abc import Mapping

from bot.desk import Desk
from bot.model.fact import Told
from bot.model.subject import ROTA
from bot.press_links import PressLinks
from bot.send.deliver import Hooks
from bot.send.webhook import WebhookOut
from bot.settings import Settings


def press_links(settings: Settings) -> PressLinks | None:
    """Links that stand for buttons, where there is a page for them to open."""
    page = settings.page
    if not page.on:
        return None
    return PressLinks(page.secret.get_secret_value().encode(), page.base_url)


def hooks(settings: Settings, deadline: float) -> Hooks:
    """``deadline``: seconds of process time that one attempt may take at most."""
    chosen = settings.webhooks
    out = None
    if chosen.targets:
        out = WebhookOut(
            [target.target() for target in chosen.targets],
            source=chosen.source or settings.page.base_url or "urn:musterline",
            types=chosen.types,
            deadline=deadline,
        )
    return Hooks(out, press_links(settings), _people(settings))


def _people(settings: Settings) -> Mapping[str, Mapping[str, str]]:
    return {
        person.user: {"name": person.name, **({"phone": person.phone} if person.phone else {})}
        for person in settings.people
    }


async def look_at_roster(desk: Desk, now: int) -> None:
    """Once at each start: whose turn has begun is tested, who is gone is forgotten.

    Where nobody has ways, and nobody had, there is no rota. Raises ``StoreError``.
    """
    if desk.surroundings.roster.tested or await desk.state(ROTA) is not None:
        await desk.receive(
            Told(
                id=f"roster:{now}",
                subject=ROTA,
                received_at=now,
                source=ROTA,
                what="roster",
            )
        )
