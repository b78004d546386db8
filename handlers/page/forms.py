"""What comes back from a page: one form, its fields and at most one photo."""

from collections.abc import AsyncIterable
from dataclasses import dataclass, field
from typing import Protocol
from urllib.parse import parse_qsl

from aiohttp import BodyPartReader, MultipartReader, web

from handlers.page.limits import FORM, PHOTO, WAITED

_FIELDS = 12
_FIELD = 8 * 1024  # bytes; words of 2,000 characters may take four each
_ID_LETTERS = frozenset("0123456789abcdef")


class BadForm(Exception):
    """The form cannot be taken; ``key`` is what is said about it, ``status`` how."""

    def __init__(self, key: str, status: int = 400) -> None:
        super().__init__(key)
        self.key, self.status = key, status


class _Chunks(Protocol):
    async def read_chunk(self, size: int = ...) -> bytes: ...


@dataclass(frozen=True)
class Form:
    """``photo``: its bytes; empty when none was chosen."""

    fields: dict[str, str] = field(default_factory=dict)
    photo: bytes = b""

    @property
    def id(self) -> str:
        """Made on the page, so that what is sent twice counts once. Raises ``BadForm``."""
        found = self.fields.get("id", "")
        if not 16 <= len(found) <= 64 or not set(found) <= _ID_LETTERS:
            raise BadForm("page_old")
        return found

    @property
    def waited(self) -> int:
        """How long the answer was kept on the phone, ms; 0 where nobody says so."""
        text = self.fields.get("waited", "")
        return min(int(text), WAITED) if text.isascii() and text.isdigit() and len(text) < 16 else 0


async def read(request: web.Request) -> Form:
    """The form of a request, within the limits. Raises ``BadForm``."""
    if (request.content_length or 0) > FORM:
        raise BadForm("page_big", 413)
    try:
        if request.content_type == "application/x-www-form-urlencoded":
            return Form(_pairs(await _limited(request.content.iter_any(), _FIELD * _FIELDS)))
        if request.content_type == "multipart/form-data":
            return await _multipart(await request.multipart())
    except (ValueError, AssertionError, UnicodeError):
        raise BadForm("page_old") from None
    raise BadForm("page_old", 415)


async def _limited(chunks: AsyncIterable[bytes], most: int) -> bytes:
    data = bytearray()
    async for chunk in chunks:
        data += chunk
        if len(data) > most:
            raise BadForm("page_long", 413)
    return bytes(data)


def _pairs(body: bytes) -> dict[str, str]:
    pairs = parse_qsl(body.decode(), keep_blank_values=True, max_num_fields=_FIELDS)
    return dict(pairs)


async def _multipart(reader: MultipartReader) -> Form:
    fields: dict[str, str] = {}
    photo = b""
    for _ in range(_FIELDS):
        part = await reader.next()
        if part is None:
            return Form(fields, photo)
        if not isinstance(part, BodyPartReader) or not part.name:
            raise BadForm("page_old")
        if part.name == "photo":
            photo = await _part(part, PHOTO, "page_big")
        else:
            fields[part.name] = (await _part(part, _FIELD, "page_long")).decode()
    raise BadForm("page_old")


async def _part(part: _Chunks, most: int, key: str) -> bytes:
    data = bytearray()
    while chunk := await part.read_chunk():
        data += chunk
        if len(data) > most:
            raise BadForm(key, 413)
    return bytes(data)
