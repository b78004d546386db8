"""Settings of what wakes people: outgoing webhooks, and each person's ways in their order."""

from ipaddress import ip_address
from typing import Any, Self
from urllib.parse import urlsplit

from pydantic import Field, SecretStr, field_validator, model_validator

from bot.intake_settings import Part
from bot.model.policy import minutes
from bot.model.roster import Way
from bot.send.signing import Signer, bytes_of
from bot.send.webhook import Target

_NAME = r"[a-z0-9][a-z0-9_-]{0,31}"


class WebhookTarget(Part):
    """A receiver of signed events, such as a gateway to the telephone."""

    name: str = Field(pattern=rf"^{_NAME}$")
    url: SecretStr = Field(description="may hold a token of the receiver, so it is kept as one")
    secrets: tuple[SecretStr, ...] = Field(default=(), max_length=2)
    private_keys: tuple[SecretStr, ...] = Field(default=(), max_length=2)
    timeout_seconds: float = Field(default=10, gt=0, le=10)

    @field_validator("url")
    @classmethod
    def _is_address(cls, given: SecretStr) -> SecretStr:
        found = urlsplit(given.get_secret_value())
        if not found.hostname or found.scheme not in ("https", "http"):
            raise ValueError("the address of a webhook is https://HOST/...")
        if found.scheme == "http" and not _near(found.hostname):
            raise ValueError("over the open network a webhook needs https://")
        return given

    @model_validator(mode="after")
    def _signs(self) -> Self:
        if not (self.secrets or self.private_keys):
            raise ValueError("a webhook needs secrets or private_keys to sign with")
        for key in self.secrets:
            size = len(_key(key, "whsec_"))
            if not 24 <= size <= 64:
                raise ValueError("a secret is whsec_ and 24 to 64 bytes in base64")
        for key in self.private_keys:
            if len(_key(key, "whsk_")) not in (32, 64):
                raise ValueError("a private key is whsk_ and 32 or 64 bytes in base64")
        return self

    def target(self) -> Target:
        return Target(
            self.name,
            self.url.get_secret_value(),
            Signer(_texts(self.secrets), _texts(self.private_keys)),
            self.timeout_seconds,
        )


class WebhooksSettings(Part):
    source: str = Field(default="", description="CloudEvents source; empty: page.base_url")
    types: str = Field(default="musterline", pattern=r"^[a-z0-9][a-z0-9.-]*[a-z0-9]$")
    targets: tuple[WebhookTarget, ...] = ()

    @model_validator(mode="after")
    def _names_differ(self) -> Self:
        names = [target.name for target in self.targets]
        if len(set(names)) < len(names):
            raise ValueError("two targets have the same name")
        return self


class WaySettings(Part):
    """One way of a person: ``"mail"``, or ``{ way = "mail", minutes = 3 }``."""

    way: str = Field(pattern=rf"^(chat|mail|webhook:{_NAME})$")
    minutes: float | None = Field(default=None, ge=1)

    @model_validator(mode="before")
    @classmethod
    def _plain(cls, given: Any) -> Any:
        return {"way": given} if isinstance(given, str) else given

    def way_of(self) -> Way:
        kind, _, target = self.way.partition(":")
        found: Any = kind  # the pattern leaves only the three
        return Way(found, target, None if self.minutes is None else minutes(self.minutes))


def _near(host: str) -> bool:
    """On this machine, or an address that never leaves the house (RFC 1918, RFC 4193)."""
    if host == "localhost":
        return True
    try:
        found = ip_address(host)
    except ValueError:
        return False
    return found.is_loopback or found.is_private


def _key(key: SecretStr, prefix: str) -> bytes:
    return bytes_of(key.get_secret_value(), prefix)


def _texts(keys: tuple[SecretStr, ...]) -> list[str]:
    return [key.get_secret_value() for key in keys]
