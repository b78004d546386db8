"""Settings of what comes in from units: who may send it, in which form, and how much of it."""

import base64
import binascii
from ipaddress import ip_network
from typing import Self

from pydantic import BaseModel, ConfigDict, Field, SecretStr, field_validator, model_validator

_SHORTEST = 16  # characters of a token or password


class Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, hide_input_in_errors=True)


class WebhookSource(Part):
    """A sender. It needs at least one way to be known; two keys of a kind may stand side by side.

    ``secrets`` (``whsec_...``) and ``public_keys`` (``whpk_...``) are of Standard Webhooks;
    ``tokens`` are bearer tokens; ``passwords`` are for HTTP Basic.
    """

    name: str = Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,47}$")
    secrets: tuple[SecretStr, ...] = Field(default=(), max_length=2)
    public_keys: tuple[str, ...] = Field(default=(), max_length=2)
    tokens: tuple[SecretStr, ...] = Field(default=(), max_length=2)
    passwords: tuple[SecretStr, ...] = Field(default=(), max_length=2)
    client_cert: bool = Field(default=False, description="units show certificates to the proxy")
    progress: bool = Field(default=False, description="takes progress reports of RFC 8572")
    mapping: str = Field(default="", description="file that says how to read other JSON")
    origins: tuple[str, ...] = Field(
        default=(), description="who may ask for permission to send; empty: whoever asks"
    )
    rate: int = Field(default=0, ge=0, description="requests a minute; 0: no limit")

    @model_validator(mode="after")
    def _can_be_known(self) -> Self:
        ways = (self.secrets, self.public_keys, self.tokens, self.passwords, self.client_cert)
        if not any(ways):
            raise ValueError(
                "a source needs secrets, public_keys, tokens, passwords or certificates"
            )
        if not all(_is_webhook_secret(s.get_secret_value()) for s in self.secrets):
            raise ValueError("a secret is whsec_ and 24 to 64 bytes in base64")
        if not all(_is_public_key(key) for key in self.public_keys):
            raise ValueError("a public key is whpk_ and 32 bytes in base64")
        shared = [s.get_secret_value() for s in (*self.tokens, *self.passwords)]
        if any(len(s) < _SHORTEST or not s.isascii() or not s.isprintable() for s in shared):
            raise ValueError(f"a token or password is {_SHORTEST} or more printable characters")
        if self.client_cert and not self.progress:
            raise ValueError("certificates are those of units: client_cert goes with progress")
        return self


def _decoded(text: str) -> bytes:
    try:
        return base64.b64decode(text + "=" * (-len(text) % 4), validate=True)
    except binascii.Error:
        return b""


def _is_webhook_secret(secret: str) -> bool:
    """Standard Webhooks 1.0.0, "Symmetric": 24 to 64 bytes, base64, after ``whsec_``."""
    return secret.startswith("whsec_") and 24 <= len(_decoded(secret.removeprefix("whsec_"))) <= 64


def _is_public_key(key: str) -> bool:
    """Standard Webhooks 1.0.0, "Asymmetric": an ed25519 key in base64 after ``whpk_``."""
    return key.startswith("whpk_") and len(_decoded(key.removeprefix("whpk_"))) == 32


class RegistrationSettings(Part):
    sources: tuple[WebhookSource, ...] = ()
    registered_types: tuple[str, ...] = ("org.example.unit.registered",)
    lost_types: tuple[str, ...] = ("org.example.unit.lost",)
    alive_types: tuple[str, ...] = ("org.example.unit.alive",)
    serial: tuple[str, ...] = Field(
        default=("data.serial", "subject"), description="where the serial stands, tried in order"
    )
    address: tuple[str, ...] = Field(
        default=("data.address",), description="where the unit's own address stands, if anywhere"
    )
    tolerance_seconds: int = Field(default=300, ge=1)
    body_limit: int = Field(default=65_536, ge=1_024)
    batch_limit: int = Field(default=100, ge=1, description="events in one batch")
    depth_limit: int = Field(default=32, ge=4, description="objects and lists inside each other")

    @model_validator(mode="after")
    def _names_differ(self) -> Self:
        names = [source.name for source in self.sources]
        if len(set(names)) != len(names):
            raise ValueError("two sources have the same name")
        return self


class SyslogSettings(Part):
    """Log lines of units that can do nothing else. Off while both ports are 0."""

    host: str = "127.0.0.1"
    tcp_port: int = Field(default=0, ge=0, le=65_535)
    udp_port: int = Field(default=0, ge=0, le=65_535)
    allowed: tuple[str, ...] = Field(
        default=("127.0.0.0/8", "::1/128"), description="networks that lines are taken from"
    )
    mapping: str = Field(default="", description="file that says how to read a line")
    source: str = Field(default="syslog", pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,47}$")
    line_limit: int = Field(default=8_192, ge=480, description="bytes of one line")

    @field_validator("allowed")
    @classmethod
    def _are_networks(cls, given: tuple[str, ...]) -> tuple[str, ...]:
        for text in given:
            try:
                ip_network(text, strict=False)
            except ValueError:
                raise ValueError(f"{text} is no network, as 192.0.2.0/24 is") from None
        return given

    @model_validator(mode="after")
    def _has_a_mapping(self) -> Self:
        if (self.tcp_port or self.udp_port) and not self.mapping:
            raise ValueError("lines cannot be read without a mapping")
        return self
