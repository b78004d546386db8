"""Plain mail: at least once, under a stable Message-ID by which a receiver drops the second.

Sources: RFC 5322 (message format; 2.1.1: lines of at most 78 characters recommended),
RFC 3834 section 5 (Auto-Submitted), RFC 5321 section 4.2.1 (4yz passing, 5yz permanent).
"""

import asyncio
import hashlib
import ssl
from dataclasses import dataclass, field
from datetime import UTC, datetime
from email.errors import MessageError
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP as SMTP_POLICY
from email.utils import format_datetime, parseaddr
from typing import Literal

import aiosmtplib

from bot.send.errors import ChannelAway, MessageRefused, Passing, PersonAway, SendError

SUBJECT_LENGTH = 78

Security = Literal["starttls", "tls", "none"]


@dataclass(frozen=True)
class MailSettings:
    """Where mail goes out. ``security``: ``tls`` from the first byte, ``starttls`` demanded
    before anything is said, ``none`` for a server on the same machine only."""

    host: str
    sender: str  # "Install desk <desk@example.org>" or a bare address
    port: int = 587
    security: Security = "starttls"
    user: str = ""
    password: str = field(default="", repr=False)
    ca_file: str = ""  # certificates to trust besides the system's own
    domain: str = ""  # right-hand side of Message-IDs; the sender's domain when empty

    def faults(self) -> list[str]:
        """What is wrong with the settings, in sentences; empty when nothing is."""
        found = []
        if "@" not in parseaddr(self.sender)[1]:
            found.append(f"mail sender {self.sender!r} is not an address")
        if self.security == "none" and self.user:
            found.append("mail without TLS would show the password: set security to starttls")
        if bool(self.user) != bool(self.password):
            found.append("mail needs both user and password, or neither")
        return found


def message_id(message: str, domain: str) -> str:
    """The same message always has the same Message-ID, and no other message has it."""
    return f"<{hashlib.sha256(message.encode()).hexdigest()[:32]}@{domain}>"


def compose(
    settings: MailSettings, *, to: str, subject: str, body: str, ident: str, at: int
) -> EmailMessage:
    """The mail as it goes out. ``at`` (ms UTC) is its date, the same for every attempt.

    Raises ``PersonAway`` for an address that is none.
    """
    sender, domain = _address(settings.sender), settings.domain
    mail = EmailMessage(policy=SMTP_POLICY)
    mail["From"] = sender
    mail["To"] = _address(to)
    mail["Subject"] = _subject(subject)
    mail["Date"] = format_datetime(datetime.fromtimestamp(at / 1000, UTC))
    mail["Message-ID"] = message_id(ident, domain or sender.domain)
    mail["Auto-Submitted"] = "auto-generated"
    mail.set_content(body, cte="quoted-printable")
    return mail


def _subject(subject: str) -> str:
    line = " ".join(subject.split())
    if len(line) <= SUBJECT_LENGTH:
        return line
    return line[: SUBJECT_LENGTH - 1].rstrip() + "\N{HORIZONTAL ELLIPSIS}"


def _address(text: str) -> Address:
    name, spec = parseaddr(text)
    try:
        made = Address(display_name=name, addr_spec=spec)
    except (ValueError, IndexError, MessageError) as error:
        raise PersonAway(f"not a mail address: {text!r}") from error
    if not made.username or not made.domain:
        raise PersonAway(f"not a mail address: {text!r}")
    return made


class MailOut:
    """Sends mail through one server; ``deadline`` in seconds of process time."""

    def __init__(self, settings: MailSettings, *, deadline: float = 10.0) -> None:
        self.settings = settings
        self.deadline = deadline

    def _context(self) -> ssl.SSLContext:
        context = ssl.create_default_context()
        if self.settings.ca_file:
            context.load_verify_locations(self.settings.ca_file)
        return context

    async def send(self, *, to: str, subject: str, body: str, ident: str, at: int) -> str:
        """Send; the Message-ID. Raises ``SendError``; an unknown outcome is passing, since a
        second copy has the same Message-ID."""
        settings = self.settings
        mail = compose(settings, to=to, subject=subject, body=body, ident=ident, at=at)
        plain = settings.security == "none"
        try:
            async with asyncio.timeout(self.deadline):
                await aiosmtplib.send(
                    mail,
                    hostname=settings.host,
                    port=settings.port,
                    use_tls=settings.security == "tls",
                    # The library's default upgrades only where the server offers it.
                    start_tls=settings.security == "starttls",
                    tls_context=None if plain else self._context(),
                    username=settings.user or None,
                    password=settings.password or None,
                    timeout=self.deadline,
                )
        except (aiosmtplib.SMTPException, OSError, TimeoutError) as error:
            raise sort_mail_error(error) from error
        return str(mail["Message-ID"])


def sort_mail_error(error: Exception) -> SendError:
    """The server's refusal in our terms, by reply code (RFC 5321 4.2.1)."""
    if isinstance(error, aiosmtplib.SMTPRecipientsRefused):
        first = error.recipients[0]
        passing = any(refused.code < 500 for refused in error.recipients)
        return _by_code(first, 400 if passing else first.code, PersonAway)
    if isinstance(error, aiosmtplib.SMTPRecipientRefused):
        return _by_code(error, error.code, PersonAway)
    if isinstance(error, (aiosmtplib.SMTPAuthenticationError, aiosmtplib.SMTPSenderRefused)):
        return _by_code(error, error.code, ChannelAway)
    if type(error) in {aiosmtplib.SMTPNotSupported, aiosmtplib.SMTPException}:
        return ChannelAway(f"mail: {error}")  # the server has no TLS, or no such log-in
    if isinstance(error, aiosmtplib.SMTPDataError):
        return _by_code(error, error.code, MessageRefused)
    if isinstance(error, ssl.SSLCertVerificationError):
        return ChannelAway(f"mail: {error}")
    return Passing(f"mail: {error!r}" if not str(error) else f"mail: {error}")


def _by_code(
    error: Exception, code: int, permanent: type[MessageRefused | PersonAway | ChannelAway]
) -> SendError:
    why = f"mail: {error}"
    return permanent(why) if code >= 500 else Passing(why)
