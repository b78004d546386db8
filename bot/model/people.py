"""Keys of personal data: what the journal holds instead of names, numbers and words."""

import hashlib


def person_key(user: str) -> str:
    """The key of a chat user's personal data; says nothing about the person by itself."""
    return hashlib.sha256(f"person:{user}".encode()).hexdigest()[:20]


def text_key(fact_id: str) -> str:
    """The field under which a person's words of one message lie."""
    return f"t_{hashlib.sha256(fact_id.encode()).hexdigest()[:20]}"
