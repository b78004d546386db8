"""Private links of visits, and the code by which the bot shows a contact that it is ours.

Nothing of them is stored: each is made of the visit's name with a keyed hash (HMAC, RFC 2104, with
SHA-256), and known again by making it anew. Whoever has no link cannot make one, and the code of
one site says nothing about that of another. All links and codes end with the secret.
"""

import base64
import hashlib
import hmac
from typing import NamedTuple
from urllib.parse import quote

from bot.model.subject import SLUG

#: Bytes of the hash kept in a link. RFC 2104, section 5: not less than half of the hash's length.
_MARK_BYTES = 16
#: Letters and digits that are not taken for each other, read or said; no vowels, so no words.
PROOF_LETTERS = "CDFHJKMNPRTWXY3479"
_PROOF_LENGTH = 6
_LONGEST = 160  # characters of a link's token: two names, a number and the mark
_PART = "~"  # unreserved in an address (RFC 3986, section 2.3), and in no name of ours
PATH = "/v/"
PHOTO_PATH = "/v/photo/"


class Opened(NamedTuple):
    """What a link says. ``generation`` rises when older links are to end."""

    wave: str
    site: str
    generation: int


class Access:
    """Makes links and codes, and knows them again. ``secret``: at least 32 bytes of chance."""

    def __init__(self, secret: bytes) -> None:
        if not secret:
            raise ValueError("links need a secret: page.secret is not set")
        self._secret = secret

    def token(self, wave: str, site: str, generation: int = 0) -> str:
        """What stands in the link of a visit. Raises ``ValueError`` for what is no name."""
        if not (SLUG.fullmatch(wave) and SLUG.fullmatch(site)) or generation < 0:
            raise ValueError(f"no visit can be called {wave!r}, {site!r}, {generation}")
        named = _PART.join((wave, site, str(generation)))
        return named + _PART + self._mark(named)

    def read(self, token: str) -> Opened | None:
        """Which visit the link is of; ``None`` for whatever we did not make.

        Whether its generation is still the visit's own, only the visit can say.
        """
        named, _, mark = token.rpartition(_PART)
        if len(token) > _LONGEST or not token.isascii():
            return None
        if not hmac.compare_digest(mark.encode(), self._mark(named).encode()):
            return None
        wave, site, generation = named.split(_PART)  # ours, by the mark
        return Opened(wave, site, int(generation))

    def proof(self, wave: str, site: str) -> str:
        """The code on the site's printed sheet, which the bot says first, e.g. ``K4T-9XW``."""
        number = int.from_bytes(self._hash("proof", _PART.join((wave, site))), "big")
        letters = ""
        for _ in range(_PROOF_LENGTH):
            number, at = divmod(number, len(PROOF_LETTERS))
            letters += PROOF_LETTERS[at]
        half = _PROOF_LENGTH // 2
        return f"{letters[:half]}-{letters[half:]}"

    def photo_name(self, key: str) -> str:
        """The last part of the address under which the team sees a photo."""
        return f"{key}{_PART}{self._hash('photo', key).hex()[:32]}"

    def read_photo(self, name: str) -> str | None:
        """The photo's key; ``None`` for whatever we did not make."""
        key = name.partition(_PART)[0]
        known = hmac.compare_digest(name.encode(), self.photo_name(key).encode())
        return key if known else None

    def form_token(self, link: str, what: str) -> str:
        """What a form of that link's page must bring back with it; ``what`` tells forms apart."""
        return self._hash("form", f"{link}\n{what}").hex()[:32]

    def known_form(self, link: str, what: str, given: str) -> bool:
        """Whether a form is of that link's page. In constant time."""
        return hmac.compare_digest(given.encode(), self.form_token(link, what).encode())

    def _mark(self, named: str) -> str:
        kept = self._hash("link", named)[:_MARK_BYTES]
        return base64.b32encode(kept).decode().rstrip("=").lower()

    def _hash(self, purpose: str, text: str) -> bytes:
        return keyed(self._secret, f"{purpose}\n{text}".encode())


def keyed(secret: bytes, data: bytes) -> bytes:
    """HMAC-SHA-256 (RFC 2104; test vectors in RFC 4231)."""
    return hmac.digest(secret, data, hashlib.sha256)


def photo_url(base: str, name: str) -> str:
    return f"{base.rstrip('/')}{PHOTO_PATH}{quote(name, safe=_PART)}"


def url(base: str, token: str) -> str:
    """The link as it is mailed and printed. ``base``: ``page.base_url`` of the settings."""
    return base.rstrip("/") + PATH + quote(token, safe=_PART)
