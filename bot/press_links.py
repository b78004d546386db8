"""Links in mails and webhooks that stand for one button of one person.

The link opens a page; only the button on that page counts. What it stands for is in the link
itself, under a keyed hash (HMAC, RFC 2104, with SHA-256), so nothing of it is stored: one message
(which names the visit, wave or test), one button of it, one person, one way, until an instant.
"""

import base64
import binascii
import hmac
from typing import NamedTuple

from bot.access import keyed
from bot.model.subject import Subject, parse

PATH = "/p/"
#: How long a link may be pressed, ms of wave time, from when its message was made.
LASTS = 24 * 3_600_000
_MARK_BYTES = 16
_LONGEST = 600
_PART = "\n"
_BETWEEN = "~"


class Press(NamedTuple):
    """What a link stands for. ``until``: ms of wave time."""

    message: str
    action: str
    user: str
    way: str
    until: int

    @property
    def subject(self) -> Subject:
        """Who decides about it. Raises ``ValueError`` where the message names nobody."""
        return parse(self.message.rsplit(":", 2)[0])


class PressLinks:
    """Makes and reads links. ``secret``: that of the contact page."""

    def __init__(self, secret: bytes, base_url: str) -> None:
        self._secret, self._base = secret, base_url.rstrip("/")

    def url(self, press: Press) -> str:
        return self._base + PATH + self.token(press)

    def token(self, press: Press) -> str:
        said = _PART.join(
            (press.message, press.action, press.user, press.way, str(press.until))
        ).encode()
        return _text(said) + _BETWEEN + self._mark("press", said)

    def read(self, token: str) -> Press | None:
        """What it stands for; ``None`` for whatever we did not make. It may be too old."""
        said, _, mark = token.rpartition(_BETWEEN)
        if len(token) > _LONGEST or not token.isascii():
            return None
        try:
            raw = base64.urlsafe_b64decode(said + "=" * (-len(said) % 4))
        except binascii.Error:
            return None
        if not hmac.compare_digest(mark.encode(), self._mark("press", raw).encode()):
            return None
        message, action, user, way, until = raw.decode().split(_PART)  # ours, by the mark
        return Press(message, action, user, way, int(until))

    def form_token(self, token: str) -> str:
        """What the page's form brings back: who sends it has seen the page."""
        return self._mark("press form", token.encode())

    def known_form(self, token: str, given: str) -> bool:
        return hmac.compare_digest(given.encode(), self.form_token(token).encode())

    def _mark(self, purpose: str, said: bytes) -> str:
        return _text(keyed(self._secret, purpose.encode() + b"\0" + said)[:_MARK_BYTES])


def _text(data: bytes) -> str:
    return base64.urlsafe_b64encode(data).decode().rstrip("=")
