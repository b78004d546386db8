"""What a person wrote, taken out of an event or out of a thread that is read back."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from bot.model.fact import Media
from bot.send.chat import time_of
from handlers.words import plain

#: Messages that people write; the others tell of people joining, of topics, of other apps.
_SPOKEN = frozenset({"", "file_share", "thread_broadcast", "me_message"})
EDITED, DELETED = "message_changed", "message_deleted"


@dataclass(frozen=True)
class Written:
    """A message of a person. Stamps are opaque names; ``edit`` is that of the latest edit."""

    channel: str
    stamp: str
    thread: str  # stamp of the thread's root; empty outside threads
    user: str
    words: str
    files: tuple[str, ...] = ()
    edit: str = ""
    direct: bool = False
    media: Media = ""
    before: str = ""  # of an edit: the words as they were, where they are known
    to_bot: bool = False  # it names the bot, so it may be an order

    @property
    def whole(self) -> str:
        return "\n".join((self.words, *self.files))

    def fact_id(self, team: str) -> str:
        """Counts once for each edit; other changes of a message (a preview) change no words."""
        mark = f":{self.edit}" if self.edit else ""
        return f"chat:{team}:{self.channel}:{self.stamp}{mark}"

    @property
    def claimed_at(self) -> int | None:
        """The time in the platform's stamp; what it decides is said at ``bot.model.fact.Said``."""
        return time_of(self.stamp)


def in_event(event: Mapping[str, Any], bot_user: str) -> Written | None:
    """The message of a person in an event; ``None`` when it holds none, or is our own."""
    edited = event.get("subtype") == EDITED
    written = _inner(event, event.get("message") if edited else event, bot_user)
    previous = _inner(event, event.get("previous_message"), bot_user) if edited else None
    if written is None or previous is None:
        return written
    return replace(written, before=previous.words)


def deleted_in_event(event: Mapping[str, Any], bot_user: str) -> Written | None:
    """The message of a person that was deleted; of a thread's root a stone is left behind.

    The stone's subtype ``tombstone`` is from memory.
    """
    inner = event.get("message")
    stone = isinstance(inner, Mapping) and inner.get("subtype") == "tombstone"
    if event.get("subtype") != DELETED and not stone:
        return None
    return _inner(event, event.get("previous_message"), bot_user)


def _inner(event: Mapping[str, Any], inner: object, bot_user: str) -> Written | None:
    if not isinstance(inner, Mapping):
        return None
    direct = event.get("channel_type") == "im"
    return in_channel(inner, str(event.get("channel", "")), bot_user, direct=direct)


def in_channel(
    message: Mapping[str, Any], channel: str, bot_user: str, *, direct: bool = False
) -> Written | None:
    """The same for a message as it stands in a channel."""
    user = str(message.get("user") or "")
    if str(message.get("subtype") or "") not in _SPOKEN or message.get("bot_id"):
        return None
    if user in ("", bot_user, "USLACKBOT") or not message.get("ts"):
        return None
    thread = str(message.get("thread_ts") or "")
    stamp = str(message["ts"])
    return Written(
        channel=channel,
        stamp=stamp,
        thread=thread,
        user=user,
        words=plain(str(message.get("text") or "")),
        files=tuple(title for f in message.get("files") or () if (title := _title(f))),
        edit=str((message.get("edited") or {}).get("ts", "")),
        direct=direct,
        media=_media(message.get("files") or ()),
        to_bot=f"<@{bot_user}>" in str(message.get("text") or ""),
    )


def _media(files: Sequence[Mapping[str, Any]]) -> Media:
    """What came, by the file's media type (RFC 6838); the first of several."""
    if not files:
        return ""
    kinds: dict[str, Media] = {"audio": "voice", "image": "picture", "video": "picture"}
    return kinds.get(str(files[0].get("mimetype") or "").partition("/")[0], "file")


def _title(file: Mapping[str, Any]) -> str:
    """What a file is called. Its title is the name unless somebody gave it another."""
    names = dict.fromkeys(str(file.get(key) or "") for key in ("title", "name"))
    comment = file.get("initial_comment")
    if isinstance(comment, Mapping):
        names[str(comment.get("comment") or "")] = None
    return plain(" ".join(name for name in names if name))
