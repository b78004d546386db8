"""Signatures of the Standard Webhooks specification 1.0.0: symmetric (``v1``, HMAC-SHA256) and
asymmetric (``v1a``, ed25519)."""

import base64
import binascii
import hmac
from collections.abc import Callable, Mapping, Sequence

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from bot.send.signing import bytes_of, content_of, hmac_of, key_of, sign

__all__ = ["BadSignature", "Keys", "key_of", "sign"]

#: The longest ``webhook-id`` we take, and how many signatures of one header we look at.
ID_LENGTH = 256
_SIGNATURES = 16
#: The time by which a signature of that second is judged; both in seconds since 1970.
Now = Callable[[int], float]


class BadSignature(Exception):
    """The request is not signed by a key we know, or too old; the text says which."""


class Keys:
    """The keys of one sender, made ready once: ``secrets`` (``whsec_``), ``public`` (``whpk_``)."""

    def __init__(self, secrets: Sequence[str], public: Sequence[str] = ()) -> None:
        self._secrets = tuple(key_of(secret) for secret in secrets)
        self._public = tuple(
            Ed25519PublicKey.from_public_bytes(bytes_of(key, "whpk_")) for key in public
        )

    def __bool__(self) -> bool:
        return bool(self._secrets or self._public)

    def verify(self, headers: Mapping[str, str], body: bytes, now: Now, tolerance: int) -> str:
        """Check the three headers; gives the message id. ``tolerance`` in seconds.

        Raises ``BadSignature``.
        """
        message_id = headers.get("webhook-id", "")
        stamp = headers.get("webhook-timestamp", "")
        given = headers.get("webhook-signature", "")
        if not (message_id and stamp and given):
            raise BadSignature("webhook-id, webhook-timestamp and webhook-signature are needed.")
        if len(message_id) > ID_LENGTH or not message_id.isascii():
            raise BadSignature(f"webhook-id is {ID_LENGTH} ASCII characters at most.")
        if not stamp.isascii() or not stamp.isdigit() or len(stamp) > 12:
            raise BadSignature("webhook-timestamp is not a number of seconds.")
        if abs(now(int(stamp)) - int(stamp)) > tolerance:
            raise BadSignature("webhook-timestamp is too far from now.")
        content = content_of(message_id, int(stamp), body)
        if not self._fits(given.split(" ", _SIGNATURES)[:_SIGNATURES], content):
            raise BadSignature("webhook-signature fits none of the secrets of this source.")
        return message_id

    def _fits(self, given: list[str], content: bytes) -> bool:
        """All that may fit are compared, each in constant time, whichever fits first."""
        wanted = [hmac_of(key, content) for key in self._secrets]
        found = False
        for part in given:
            version, _, text = part.partition(",")
            signature = text.encode("utf-8", "surrogateescape")  # a header may be no UTF-8
            if version == "v1":
                for one in wanted:
                    found |= hmac.compare_digest(signature, one)
            elif version == "v1a":
                for key in self._public:
                    found |= _signed(key, signature, content)
        return found


def _signed(key: Ed25519PublicKey, signature: bytes, content: bytes) -> bool:
    try:
        key.verify(base64.b64decode(signature, validate=True), content)
    except (InvalidSignature, binascii.Error):
        return False
    return True
