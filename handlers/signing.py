"""Signatures of the Standard Webhooks specification 1.0.0, symmetric (v1, HMAC-SHA256)."""

import base64
import binascii
import hashlib
import hmac
from collections.abc import Mapping, Sequence


class BadSignature(Exception):
    """The request is not signed by a secret we know, or too old; the text says which."""


def key_of(secret: str) -> bytes:
    """The key in ``whsec_...`` (base64, padded or not). Raises ``ValueError`` for anything else."""
    if not secret.startswith("whsec_"):
        raise ValueError("a webhook secret begins with whsec_")
    text = secret.removeprefix("whsec_")
    try:
        return base64.b64decode(text + "=" * (-len(text) % 4), validate=True)
    except binascii.Error:
        raise ValueError("a webhook secret is base64 after whsec_") from None


def sign(secret: str, message_id: str, timestamp: int, body: bytes) -> str:
    """The header ``webhook-signature`` for a message; ``timestamp`` in seconds."""
    content = f"{message_id}.{timestamp}.".encode() + body
    digest = hmac.digest(key_of(secret), content, hashlib.sha256)
    return f"v1,{base64.b64encode(digest).decode()}"


def verify(
    headers: Mapping[str, str],
    body: bytes,
    secrets: Sequence[str],
    now: float,
    tolerance: int,
) -> str:
    """Check the three headers; gives the message id. ``now`` and ``tolerance`` in seconds.

    Raises ``BadSignature``.
    """
    message_id = headers.get("webhook-id", "")
    stamp = headers.get("webhook-timestamp", "")
    given = headers.get("webhook-signature", "")
    if not (message_id and stamp and given):
        raise BadSignature("webhook-id, webhook-timestamp and webhook-signature are needed.")
    if not stamp.isascii() or not stamp.isdigit() or len(stamp) > 12:
        raise BadSignature("webhook-timestamp is not a number of seconds.")
    if abs(now - int(stamp)) > tolerance:
        raise BadSignature("webhook-timestamp is too far from now.")
    found = [part.encode() for part in given.split(" ") if part.startswith("v1,")][:16]
    wanted = [sign(secret, message_id, int(stamp), body).encode() for secret in secrets]
    matches = [hmac.compare_digest(f, w) for f in found for w in wanted]
    if not any(matches):
        raise BadSignature("webhook-signature fits none of the secrets of this source.")
    return message_id
