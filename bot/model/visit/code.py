"""One-use codes: made of a key and what they are for, so that nothing of them need be stored.

A code is a keyed hash (HMAC, RFC 2104, with SHA-256) in letters and digits that are not taken
for each other. Whoever has the store but not the key can neither make nor find one.
"""

import hashlib
import hmac
import re
from collections.abc import Iterator

#: No vowels, so no words; nothing that is taken for something else, read or said.
LETTERS = "CDFHJKMNPRTWXY3479"
_HALF = 3
_ONE = f"[{LETTERS}]{{{_HALF}}}"
_CODE = re.compile(rf"(?<!\w)({_ONE})[ -]?({_ONE})(?!\w)", re.IGNORECASE)


def code_of(key: bytes, *names: str) -> str:
    """The code for what is named, e.g. ``K4T-9XW``: one of about 25 million. It has a digit, so
    that no two short words look like one."""
    count = 0
    while True:
        number = int.from_bytes(_hash(key, "code", *names, str(count)), "big")
        letters = ""
        for _ in range(2 * _HALF):
            number, at = divmod(number, len(LETTERS))
            letters += LETTERS[at]
        if any(letter.isdigit() for letter in letters):
            return f"{letters[:_HALF]}-{letters[_HALF:]}"
        count += 1


def mark_of(key: bytes, code: str) -> str:
    """What stands for a code where it must be found again, and says nothing about it."""
    return _hash(key, "mark", code).hex()[:32]


def codes_in(words: str) -> Iterator[str]:
    """What looks like codes in somebody's words, as we write them."""
    for found in _CODE.finditer(words):
        code = f"{found[1]}-{found[2]}".upper()
        if any(letter.isdigit() for letter in code):
            yield code


def _hash(key: bytes, *names: str) -> bytes:
    return hmac.digest(key, "\n".join(names).encode(), hashlib.sha256)
