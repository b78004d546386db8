"""Signing by the Standard Webhooks specification 1.0.0: symmetric (``v1``, HMAC-SHA256) and
asymmetric (``v1a``, ed25519)."""

import base64
import binascii
import hmac
from collections.abc import Sequence

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

_SEED = 32  # bytes of a private key; what follows it is the public one


def bytes_of(text: str, prefix: str) -> bytes:
    """The bytes after ``prefix`` (base64, padded or not). Raises ``ValueError``."""
    if not text.startswith(prefix):
        raise ValueError(f"a webhook key of this kind begins with {prefix}")
    text = text.removeprefix(prefix)
    try:
        return base64.b64decode(text + "=" * (-len(text) % 4), validate=True)
    except binascii.Error:
        raise ValueError(f"a webhook key is base64 after {prefix}") from None


def key_of(secret: str) -> bytes:
    """The key in ``whsec_...`` (base64, padded or not). Raises ``ValueError`` for anything else."""
    return bytes_of(secret, "whsec_")


def sign(secret: str, message_id: str, timestamp: int, body: bytes) -> str:
    """The header ``webhook-signature`` for a message; ``timestamp`` in seconds."""
    return "v1," + hmac_of(key_of(secret), content_of(message_id, timestamp, body)).decode()


def content_of(message_id: str, timestamp: int, body: bytes) -> bytes:
    """What is signed."""
    return f"{message_id}.{timestamp}.".encode() + body


def hmac_of(key: bytes, content: bytes) -> bytes:
    return base64.b64encode(hmac.digest(key, content, "sha256"))


class Signer:
    """Signs with every key given, so that one can be changed while both are known.

    ``secrets``: ``whsec_...``; ``private``: ``whsk_`` and an ed25519 key (32 bytes, or 64 with
    the public one behind it). Raises ``ValueError`` for a key that is none.
    """

    def __init__(self, secrets: Sequence[str], private: Sequence[str] = ()) -> None:
        self._secrets = tuple(key_of(secret) for secret in secrets)
        self._private = tuple(
            Ed25519PrivateKey.from_private_bytes(bytes_of(key, "whsk_")[:_SEED]) for key in private
        )

    def headers(self, message_id: str, timestamp: int, body: bytes) -> dict[str, str]:
        """The three headers; ``timestamp`` in seconds since 1970."""
        content = content_of(message_id, timestamp, body)
        made = [f"v1,{hmac_of(key, content).decode()}" for key in self._secrets]
        made += [f"v1a,{base64.b64encode(key.sign(content)).decode()}" for key in self._private]
        return {
            "webhook-id": message_id,
            "webhook-timestamp": str(timestamp),
            "webhook-signature": " ".join(made),
        }
