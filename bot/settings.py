"""Configuration: one typed object from a TOML file, with secrets from the environment.

Order: defaults, then the file, then environment variables ``MUSTERLINE_SECTION__KEY`` (for
example ``MUSTERLINE_CHAT__BOT_TOKEN``). Times of day are local to the person's or site's zone.
"""

import os
import tomllib
from collections.abc import Mapping
from datetime import time
from ipaddress import ip_network
from pathlib import Path
from typing import Any, Literal, Self
from zoneinfo import ZoneInfo, available_timezones

from pydantic import (
    Field,
    SecretStr,
    ValidationError,
    field_validator,
    model_validator,
)

from bot.intake_settings import Part, RegistrationSettings, SyslogSettings, WebhookSource
from bot.model.policy import Policy, minutes
from bot.model.roster import Roster, Staff, Turn
from bot.page_settings import PageSettings
from bot.sheet_settings import SheetSettings
from bot.waking_settings import WaySettings, WebhooksSettings, WebhookTarget

__all__ = [
    "PageSettings",
    "RegistrationSettings",
    "Settings",
    "SettingsError",
    "SheetSettings",
    "SyslogSettings",
    "WaySettings",
    "WebhookSource",
    "WebhookTarget",
    "WebhooksSettings",
    "load",
]

PREFIX = "MUSTERLINE_"
Day = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
#: Keys whose value in the environment is a list, with commas.
_LISTS = {
    *("channels", "trust_proxy", "registered_types", "lost_types", "alive_types", "serial"),
    *("address", "allowed"),
}
_DAYS: tuple[Day, ...] = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


class SettingsError(Exception):
    """The settings cannot be used; the text has one line for each problem."""


class StoreSettings(Part):
    url: str = Field(default="", description="redis:// or rediss://; empty: embedded")
    data: Path = Field(default=Path("data"), description="folder of the embedded store")
    cluster: bool = False
    min_replicas: int = Field(default=0, ge=0, description="replicas that must have a commit")


class ChatSettings(Part):
    mode: Literal["http", "socket"] = "http"
    bot_token: SecretStr = SecretStr("")
    signing_secret: SecretStr = SecretStr("")
    app_token: SecretStr = SecretStr("")  # socket mode only
    base_url: str = Field(default="", description="another Web API, for rehearsals only")
    channels: tuple[str, ...] = Field(default=(), description="the waves' channels, by id")
    team_channel: str = Field(default="", description="where calls go, by id")
    command: str = Field(default="/wave", pattern=r"^/[a-z][a-z0-9_-]{0,31}$")
    bot_name: str = "Install desk"
    private: bool = Field(
        default=False, description="talk to contacts privately, mirrored to the wave's channel"
    )


class MailSettings(Part):
    host: str = ""
    port: int = 587
    user: str = ""
    password: SecretStr = SecretStr("")
    sender: str = ""
    tls: Literal["starttls", "tls", "none"] = "starttls"


class ServeSettings(Part):
    host: str = "127.0.0.1"
    port: int = Field(default=8080, ge=0, le=65_535)
    trust_proxy: tuple[str, ...] = Field(
        default=(), description="addresses whose X-Forwarded-* headers are believed"
    )
    drain_seconds: float = Field(default=20, gt=0)

    @field_validator("trust_proxy")
    @classmethod
    def _are_addresses(cls, given: tuple[str, ...]) -> tuple[str, ...]:
        for text in given:
            try:
                ip_network(text, strict=False)
            except ValueError:
                raise ValueError(f"{text} is no address or network, as 192.0.2.7 is") from None
        return given


class Hours(Part):
    """When it is a person's turn: days and hours in their zone; no hours means always."""

    days: tuple[Day, ...] = _DAYS
    since: time = time(0)
    until: time = time(0)


class PersonSettings(Part):
    name: str = Field(min_length=1)
    user: str = Field(pattern=r"^[UW][A-Z0-9]{2,20}$", description="chat user id")
    roles: tuple[Literal["oncall", "admin"], ...] = Field(min_length=1)
    mail: str = Field(default="", pattern=r"^$|^[^@\s]+@[^@\s]+$")
    tz: str = "UTC"
    hours: tuple[Hours, ...] = ()
    rank: int = 0
    phone: str = Field(default="", description="handed to webhooks, for whoever rings them")
    ways: tuple[WaySettings, ...] = Field(default=(), description="in the order they are tried")

    @model_validator(mode="after")
    def _zone_exists(self) -> Self:
        if self.tz not in available_timezones():
            raise ValueError(f"{self.tz} is not a time zone of the IANA database")
        return self

    @model_validator(mode="after")
    def _ways_differ(self) -> Self:
        names = [way.way for way in self.ways]
        if len(set(names)) < len(names):
            raise ValueError("the same way stands twice in ways")
        if "mail" in names and not self.mail:
            raise ValueError("ways has mail, but there is no mail address")
        return self


class PolicySettings(Part):
    """Habits of the team, in minutes and local times."""

    gather_seconds: float = Field(default=90, ge=0)
    pause: float = Field(default=15, gt=0)
    undelivered: float = Field(default=15, gt=0)
    slack: float = Field(default=20, ge=0)
    test_remind: float = Field(default=5, gt=0)
    test_over: float = Field(default=10, gt=0)
    test_at: time = time(9)
    quiet_from: time = time(20, 30)
    quiet_until: time = time(8, 0)
    handover: time = time(8, 30)


class Settings(Part):
    runbook: Path = Path("runbook.yaml")
    store: StoreSettings = StoreSettings()
    chat: ChatSettings = ChatSettings()
    registration: RegistrationSettings = RegistrationSettings()
    syslog: SyslogSettings = SyslogSettings()
    mail: MailSettings = MailSettings()
    page: PageSettings = PageSettings()
    sheet: SheetSettings = SheetSettings()
    webhooks: WebhooksSettings = WebhooksSettings()
    serve: ServeSettings = ServeSettings()
    policy: PolicySettings = PolicySettings()
    people: tuple[PersonSettings, ...] = ()
    person_on_chat_alone_may_open: bool = Field(
        default=False, description="open waves though chat alone, or nothing tested, wakes us"
    )

    def roster(self) -> Roster:
        """Who is on call and admin. Without a mail server nobody is reached by mail."""
        return Roster(tuple(_staff(person, mails=bool(self.mail.host)) for person in self.people))

    def model_policy(self) -> Policy:
        p = self.policy
        return Policy(
            gather=round(p.gather_seconds * 1000),
            undelivered=minutes(p.undelivered),
            pause=minutes(p.pause),
            slack=minutes(p.slack),
            test_remind=minutes(p.test_remind),
            test_over=minutes(p.test_over),
            test_at=p.test_at,
            quiet_from=p.quiet_from,
            quiet_until=p.quiet_until,
            handover=p.handover,
        )

    def problems_for_serving(self) -> list[str]:
        """What ``serve`` cannot do without; each as one sentence."""
        chat = self.chat
        wanted = {
            "chat.bot_token": chat.bot_token.get_secret_value(),
            "chat.team_channel": chat.team_channel,
            "chat.channels": chat.channels,
        }
        if chat.mode == "http":
            wanted["chat.signing_secret"] = chat.signing_secret.get_secret_value()
        else:
            wanted["chat.app_token"] = chat.app_token.get_secret_value()
        found = [f"{name} is not set." for name, value in wanted.items() if not value]
        roles = {role for person in self.people for role in person.roles}
        found += [
            f"people: nobody has the role {r}." for r in ("oncall", "admin") if r not in roles
        ]
        return found + self.page.problems() + self._way_problems()

    def _way_problems(self) -> list[str]:
        """Ways that nobody could be reached or confirm by."""
        targets = {f"webhook:{target.name}" for target in self.webhooks.targets}
        found, used = [], {(p.name, way.way) for p in self.people for way in p.ways}
        for name, way in sorted(used):
            if way.startswith("webhook:") and way not in targets:
                found.append(f"people: {name}: {way}: there is no such target in webhooks.targets.")
            if way == "mail" and not self.mail.host:
                found.append(f"people: {name}: ways has mail, but mail.host is not set.")
        if any(way != "chat" for _, way in used) and not self.page.on:
            found.append(
                "people: ways: mail and webhooks are confirmed on a page: set page.base_url and "
                "page.secret."
            )
        return found


def _staff(person: PersonSettings, *, mails: bool) -> Staff:
    ZoneInfo(person.tz)
    turns = tuple(
        Turn(frozenset(_DAYS.index(d) for d in h.days), h.since, h.until, person.tz)
        for h in person.hours
    )
    return Staff(
        user=person.user,
        name=person.name,
        duties=frozenset(person.roles),
        turns=turns,
        mail=person.mail if mails else "",
        rank=person.rank,
        ways=tuple(way.way_of() for way in person.ways),
        tz=person.tz,
    )


def load(path: Path | None, environ: Mapping[str, str] = os.environ) -> Settings:
    """Settings from ``path`` (TOML; none: defaults) and the environment.

    Raises ``SettingsError`` naming the file, the key and what is wrong with it.
    """
    data: dict[str, Any] = {}
    given: dict[tuple[str, ...], str] = {}  # keys that the environment gives, and by which name
    where = "the settings"
    if path is not None:
        where = str(path)
        try:
            data = tomllib.loads(path.read_text(encoding="utf-8-sig"))
        except FileNotFoundError:
            raise SettingsError(
                f"{path}: there is no such file; see deploy/musterline.toml."
            ) from None
        except OSError as error:
            raise SettingsError(f"{path}: cannot be read: {error.strerror}.") from None
        except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
            raise SettingsError(f"{path}: not valid TOML: {error}.") from None
    for name, value in environ.items():
        if name.startswith(PREFIX) and name != f"{PREFIX}SETTINGS":
            keys = name.removeprefix(PREFIX).lower().split("__")
            _put(data, keys, value, name)
            given[tuple(keys)] = name
    try:
        return Settings.model_validate(data)
    except ValidationError as error:
        raise SettingsError("\n".join(_line(e, where, given) for e in error.errors())) from None


def _put(data: dict[str, Any], keys: list[str], value: str, name: str) -> None:
    for key in keys[:-1]:
        inner = data.setdefault(key, {})
        if not isinstance(inner, dict):
            raise SettingsError(f"{name}: {key} is a value in the file, not a section.")
        data = inner
    listed = keys[-1] in _LISTS
    data[keys[-1]] = [v.strip() for v in value.split(",") if v.strip()] if listed else value


def _line(error: Any, where: str, given: Mapping[tuple[str, ...], str]) -> str:
    """One problem: the file (or the variable), the key, what is wrong."""
    loc = tuple(str(part) for part in error["loc"])
    variable = next((name for keys, name in given.items() if loc[: len(keys)] == keys), "")
    what = error["msg"].removeprefix("Value error, ")
    if error["type"] == "extra_forbidden":
        what = "there is no such setting"
    return f"{variable or where}: {_path(error['loc'])}: {what}."


def _path(loc: tuple[int | str, ...]) -> str:
    return ".".join(str(part) for part in loc) or "(top)"
