"""Chance that is the same for a seed, a person and an occasion, whatever else happens."""

import hashlib
import random


def dice(*parts: object) -> random.Random:
    """A source of chance for exactly this occasion."""
    text = "/".join(str(part) for part in parts)
    return random.Random(int.from_bytes(hashlib.sha256(text.encode()).digest()[:8]))
