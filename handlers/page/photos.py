"""Photos from the page: looked at by what they are, kept with the personal data, shown to the team.

Nothing is taken out of them: what a telephone writes into its photos (place and time) stays in,
unless the page's script has made the photo smaller, which leaves that out. They lie in the store
under a key of their own, away from the journal and from what is read for every message.
"""

import base64
import binascii
import hashlib

from bot.store.store import Store
from handlers.page.limits import PHOTOS

#: How the files of each kind of photo begin. Sources: ITU-T T.81 (JPEG), RFC 2083 (PNG), RFC 9649
#: (WebP), ISO/IEC 23008-12 (HEIF, by the brand in its first box); the last from memory.
_STARTS = (
    (b"\xff\xd8\xff", "image/jpeg"),
    (b"\x89PNG\r\n\x1a\n", "image/png"),
)
_HEIF = frozenset((b"heic", b"heix", b"mif1", b"msf1"))


def kind_of(data: bytes) -> str:
    """The media type by the first bytes; empty for what is no photo. Names are not believed."""
    for start, kind in _STARTS:
        if data.startswith(start):
            return kind
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "image/webp"
    if data[4:8] == b"ftyp" and data[8:12] in _HEIF:
        return "image/heic"
    return ""


def key_of(fact_id: str) -> str:
    """Where a photo lies among the personal data; the same when it is sent again."""
    return hashlib.sha256(f"photo:{fact_id}".encode()).hexdigest()[:20]


async def keep(store: Store, person: str, key: str, data: bytes) -> bool:
    """Keep it, and note with the person that it is theirs. Raises ``StoreError``.

    False where there are so many of theirs already that one link could fill the store.
    """
    theirs = {name for name in await store.person_get(person) if name.startswith("photo_")}
    if len(theirs) >= PHOTOS and f"photo_{key}" not in theirs:
        return False
    fields = {"kind": kind_of(data), "data": base64.b64encode(data).decode()}
    await store.person_put(key, fields)
    await store.person_put(person, {f"photo_{key}": key})
    return True


async def load(store: Store, key: str) -> tuple[str, bytes] | None:
    """Its media type and the photo; ``None`` when there is none (any more)."""
    fields = await store.person_get(key)
    try:
        return fields["kind"], base64.b64decode(fields["data"], validate=True)
    except (KeyError, binascii.Error):
        return None
