"""The scene of a rehearsal: Hollowmere Library Service, its team, its channels, its settings."""

from pathlib import Path

from pydantic import SecretStr

from bot.model.people import by_page
from bot.model.policy import MINUTE
from bot.model.runbook import Runbook
from bot.plan.importer import parse
from bot.plan.invented import invented
from bot.plan.rows import SiteRow
from bot.practice.chatserver import ChatServer
from bot.runbooks.load import load
from bot.settings import (
    ChatSettings,
    PersonSettings,
    PolicySettings,
    RegistrationSettings,
    ServeSettings,
    Settings,
    StoreSettings,
    WebhookSource,
)

HERE = Path(__file__).parent / "hollowmere"
SIGNING_SECRET = "practice-signing"  # noqa: S105 - of the stand-in on this machine
WEBHOOK_SECRET = "whsec_cHJhY3RpY2UtcHJhY3RpY2UtcHJhY3RpY2U="  # noqa: S105
SOURCE = "registry"
UNITS = "units"  # units that report their own progress
UNITS_PASSWORD = "practice-of-units"  # noqa: S105
TEAM_CHANNEL = "CTEAM01"
ADMIN = "U0001"
PEOPLE = (
    PersonSettings(name="Ines Calloway", user="U0002", roles=("oncall",), rank=1),
    PersonSettings(name="Joel Harrowby", user="U0003", roles=("oncall",), rank=2),
    PersonSettings(name="Maud Sterling", user=ADMIN, roles=("admin",), rank=3),
)
_SITES_A_CHANNEL = 20
_MOST_CHANNELS = 40
_LEAD = 30 * MINUTE


def runbook() -> Runbook:
    return load(HERE / "runbook.yaml")


def sites(units: int | None, seed: int) -> list[SiteRow]:
    """The demo wave, or a larger invented one of ``units`` units."""
    if units is None:
        return parse(HERE / "sites.csv").sites
    return invented(units, seed)


def channels_for(count: int) -> list[str]:
    """Channel ids for that many sites: as many as the pace of the platform asks for."""
    number = min(_MOST_CHANNELS, max(1, -(-count // _SITES_A_CHANNEL)))
    return [f"CWAVE{n:02}" for n in range(1, number + 1)]


def begins_at(rows: list[SiteRow]) -> int:
    """Wave time at which the rehearsal begins: shortly before the first start."""
    return min(row.start for row in rows if row.start is not None) - _LEAD


def furnish(server: ChatServer, rows: list[SiteRow]) -> list[str]:
    """Channels and people in the stand-in; gives the wave's channels."""
    channels = channels_for(len(rows))
    everyone = {person.user: person.name for person in PEOPLE}
    for row in rows:
        for person in (row.contact, row.deputy):
            if person is not None and not by_page(person.user):
                everyone[person.user] = person.name or person.user
    for user, name in everyone.items():
        server.add_user(user, name)
    for number, channel in enumerate(channels, 1):
        server.add_channel(f"wave-{number}", id=channel, members=tuple(everyone))
    server.add_channel("team", id=TEAM_CHANNEL, private=True, members=tuple(p.user for p in PEOPLE))
    return channels


def settings(base_url: str, token: str, channels: list[str], store_url: str) -> Settings:
    """What a live bot reads from its file, for the rehearsal."""
    return Settings(
        runbook=HERE / "runbook.yaml",
        store=StoreSettings(url=store_url),
        chat=ChatSettings(
            bot_token=SecretStr(token),
            signing_secret=SecretStr(SIGNING_SECRET),
            base_url=base_url,
            channels=tuple(channels),
            team_channel=TEAM_CHANNEL,
        ),
        registration=RegistrationSettings(
            sources=(
                WebhookSource(name=SOURCE, secrets=(SecretStr(WEBHOOK_SECRET),)),
                WebhookSource(name=UNITS, passwords=(SecretStr(UNITS_PASSWORD),), progress=True),
            ),
            serial=("data.serial",),
        ),
        serve=ServeSettings(port=0),
        policy=PolicySettings(),
        people=PEOPLE,
    )
