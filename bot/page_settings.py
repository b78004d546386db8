"""Settings of the contact page: off until both the address and the secret are there."""

from urllib.parse import urlsplit

from pydantic import Field, SecretStr, field_validator

from bot.intake_settings import Part

_SHORTEST = 32  # characters of the secret
_LOOPBACK = {"localhost", "127.0.0.1", "::1"}


class PageSettings(Part):
    """``after`` is in hours from the end of a visit, for as long as its link still answers."""

    secret: SecretStr = SecretStr("")
    base_url: str = Field(default="", description="how contacts reach us, https://HOST")
    after: float = Field(default=72, ge=0, description="hours a link lasts when all is over")

    @field_validator("base_url")
    @classmethod
    def _is_safe(cls, given: str) -> str:
        if not given:
            return given
        found = urlsplit(given)
        if found.scheme != "https" and found.hostname not in _LOOPBACK:
            raise ValueError("a private link needs an address that begins with https://")
        if not found.hostname or found.query or found.fragment:
            raise ValueError(f"{given} is no address of a host, as https://desk.example.org is")
        return given.rstrip("/")

    @property
    def on(self) -> bool:
        return bool(self.base_url and self.secret.get_secret_value())

    def problems(self) -> list[str]:
        """What stands in the way of serving pages; nothing while they are off."""
        secret = self.secret.get_secret_value()
        if not self.base_url and not secret:
            return []
        found = []
        if not self.base_url:
            found.append("page.base_url is not set, but page.secret is.")
        if len(secret) < _SHORTEST:
            found.append(
                f"page.secret has {len(secret)} characters; it needs {_SHORTEST} of pure chance."
            )
        return found
