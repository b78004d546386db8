"""Who sends: signatures, tokens, passwords and certificates, each compared in constant time.

Sources: Standard Webhooks 1.0.0; RFC 6750 section 2.1 and CloudEvents HTTP webhook 1.0.2 section 3
(bearer tokens); RFC 7617 (Basic); RFC 9440 (Client-Cert, set by a proxy that ended the TLS).
"""

import base64
import binascii
import hmac
import time
from collections.abc import Callable
from ipaddress import ip_address
from typing import NamedTuple

from aiohttp import web
from cryptography import x509
from cryptography.x509.oid import NameOID

from bot.intake_settings import RegistrationSettings, WebhookSource
from handlers.intake.limits import Rate
from handlers.intake.problems import Refused
from handlers.intake.steady import Steady
from handlers.proxy import TRUSTED
from handlers.signing import BadSignature, Keys

_CERTIFICATE_LENGTH = 16_384


class Caller(NamedTuple):
    """Who was let in. ``signed`` is the signed message id; ``user`` the authenticated name."""

    source: "Source"
    signed: str = ""
    user: str = ""


class Source:
    """One sender, its keys made ready once."""

    def __init__(self, settings: WebhookSource, clock: Callable[[], float]) -> None:
        self.name, self.settings = settings.name, settings
        self.keys = Keys([s.get_secret_value() for s in settings.secrets], settings.public_keys)
        self.tokens = [s.get_secret_value().encode() for s in settings.tokens]
        self.passwords = [s.get_secret_value().encode() for s in settings.passwords]
        self.rate = Rate(settings.rate, clock)

    @property
    def challenge(self) -> str:
        """How to be let in, as RFC 9110 section 11.6.1 asks of every 401."""
        ways = []
        if self.keys:
            ways.append('Webhook-Signature realm="registrations"')
        if self.tokens:
            ways.append('Bearer realm="registrations"')
        if self.passwords:
            ways.append('Basic realm="registrations", charset="UTF-8"')
        return ", ".join(ways) or 'Client-Certificate realm="registrations"'

    def stranger(self, detail: str) -> Refused:
        return Refused(401, detail, WWW_Authenticate=self.challenge)


class Trust:
    """All sources. ``wall`` is the time of signatures, ``clock`` that of rates, in seconds."""

    def __init__(
        self,
        settings: RegistrationSettings,
        wall: Callable[[], float] = time.time,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._steady, self._tolerance = Steady(wall, clock), settings.tolerance_seconds
        self.sources = {s.name: Source(s, clock) for s in settings.sources}
        self._progress = [s for s in self.sources.values() if s.settings.progress]

    def source(self, name: str) -> Source:
        """Raises ``Refused`` (404) when there is none of that name."""
        found = self.sources.get(name)
        if found is None:
            raise Refused(404, "There is no source of that name; see registration.sources.")
        return found

    def caller(self, source: Source, request: web.Request, body: bytes) -> Caller:
        """Who sends to ``source``. Raises ``Refused``: 401, 403 over plain HTTP, 429."""
        headers = request.headers
        if source.keys and ("webhook-signature" in headers or "Authorization" not in headers):
            try:
                signed = source.keys.verify(headers, body, self._steady.nearest, self._tolerance)
            except BadSignature as error:
                if "webhook-signature" in headers or "access_token" not in request.query:
                    raise source.stranger(str(error)) from None
                caller = self._known(source, request)
            else:
                caller = Caller(source, signed)
        else:
            caller = self._known(source, request)
        source.rate.take()
        return caller

    def unit(self, request: web.Request) -> Caller:
        """A unit that reports its own progress: its name is what it was let in with."""
        if not self._progress:
            raise Refused(404, "Nobody reports progress here; see registration.sources.")
        last = self._progress[-1]
        for source in self._progress:
            try:
                caller = self._known(source, request)
            except Refused as error:
                if error.status != 401 or source is last:
                    raise
            else:
                source.rate.take()
                return caller
        raise last.stranger("Nobody is known by this.")

    def _known(self, source: Source, request: web.Request) -> Caller:
        """By certificate, token or password, whichever of them the request brings."""
        if source.settings.client_cert and "Client-Cert" in request.headers:
            return Caller(source, user=certified(request, source))
        if source.passwords or source.tokens:
            return self._by_credentials(source, request)
        raise source.stranger("This source knows its senders by other means.")

    def _by_credentials(self, source: Source, request: web.Request) -> Caller:
        scheme, _, value = request.headers.get("Authorization", "").partition(" ")
        scheme, value = scheme.lower(), value.strip()
        if not scheme and (token := request.query.get("access_token")):
            scheme, value = "bearer", token  # CloudEvents HTTP webhook 1.0.2, section 3.2
        if scheme not in ("bearer", "basic"):
            raise source.stranger("A signature or an Authorization header is needed.")
        if not private(request):
            raise Refused(403, "Tokens and passwords are taken over TLS only.")
        if scheme == "bearer":
            if not fits(value, source.tokens):
                raise source.stranger("The token is none of this source.")
            return Caller(source)
        user, password = basic(value)
        if not fits(password, source.passwords) or not user:
            raise source.stranger("Name and password are none of this source.")
        return Caller(source, user=user)


def fits(given: str, wanted: list[bytes]) -> bool:
    """Compared with each, in constant time, whichever fits first."""
    text, found = given.encode("utf-8", "surrogateescape"), False
    for one in wanted:
        found |= hmac.compare_digest(text, one)
    return found


def basic(value: str) -> tuple[str, str]:
    """Name and password of HTTP Basic (RFC 7617); both empty when there are none."""
    try:
        user, colon, password = base64.b64decode(value, validate=True).decode().partition(":")
    except (binascii.Error, ValueError):
        return "", ""
    return (user, password) if colon and user.isprintable() else ("", "")


def private(request: web.Request) -> bool:
    """Whether nobody on the way could read it: TLS, or this machine alone."""
    return request.secure or is_here(request)


def is_here(request: web.Request) -> bool:
    """Whether it came from this machine."""
    try:
        return ip_address(request.remote or "").is_loopback
    except ValueError:
        return False


def certified(request: web.Request, source: Source) -> str:
    """The serial number of the unit whose certificate a trusted proxy has seen (RFC 9440).

    A structured field of type byte sequence (RFC 8941, section 3.3.5). The name is the subject's
    ``serialNumber`` (IEEE 802.1AR, from memory). The proxy has checked the chain.
    """
    if not request.get(TRUSTED):
        raise source.stranger("Client-Cert is believed from the proxies of serve.trust_proxy only.")
    given = request.headers.getall("Client-Cert")
    text = given[0].strip()
    if len(given) != 1 or len(text) > _CERTIFICATE_LENGTH or text[:1] + text[-1:] != "::":
        raise source.stranger("Client-Cert is not one certificate between colons.")
    try:
        found = x509.load_der_x509_certificate(base64.b64decode(text[1:-1], validate=True))
        names = found.subject.get_attributes_for_oid(NameOID.SERIAL_NUMBER)
    except (ValueError, x509.InvalidVersion):
        raise source.stranger("Client-Cert holds no certificate that can be read.") from None
    if len(names) != 1:
        raise source.stranger("The certificate's subject has no serialNumber.")
    return str(names[0].value)
