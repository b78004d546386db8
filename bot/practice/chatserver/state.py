"""What the stand-in workspace holds: people, channels, messages, pins.

All access by key is O(1) or by bisection, so that thousands of posts stay cheap.
"""

import copy
from bisect import bisect_left, bisect_right
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from decimal import Decimal, InvalidOperation
from typing import Literal

from bot.practice.chatserver.answers import Json, Refused

ChannelKind = Literal["channel", "group", "im"]
ChangeKind = Literal[
    "posted", "updated", "deleted", "ephemeral", "pinned", "unpinned", "reacted", "unreacted"
]


def stamp(micros: int) -> str:
    """Message stamp of an instant in microseconds: seconds, a point, six digits."""
    return f"{micros // 1_000_000}.{micros % 1_000_000:06d}"


def micros_of(ts: str, error: str = "invalid_arguments") -> int:
    """Microseconds of a stamp; refused with `error` when it is not a stamp."""
    try:
        value = Decimal(ts)
    except InvalidOperation:
        raise Refused(error) from None
    if not value.is_finite():
        raise Refused(error)
    return int(value * 1_000_000)


@dataclass
class User:
    id: str
    name: str
    tz: str = "Europe/London"
    locale: str = "en-GB"
    deleted: bool = False
    is_bot: bool = False
    updated: int = 0


@dataclass
class Channel:
    id: str
    name: str
    kind: ChannelKind = "channel"
    creator: str = ""
    created: int = 0
    archived: bool = False
    members: dict[str, None] = field(default_factory=dict)
    messages: dict[str, Json] = field(default_factory=dict)
    roots: list[int] = field(default_factory=list)
    threads: dict[str, list[int]] = field(default_factory=dict)
    pins: dict[str, Json] = field(default_factory=dict)
    ephemeral: dict[str, Json] = field(default_factory=dict)
    last_stamp: int = 0
    with_user: str = ""

    def next_stamp(self, now: int) -> str:
        """A stamp not used before in this channel, never earlier than the last. `now` in ms."""
        self.last_stamp = max(now * 1000 + 1, self.last_stamp + 1)
        return stamp(self.last_stamp)

    def message(self, ts: str) -> Json:
        found = self.messages.get(ts)
        if found is None:
            raise Refused("message_not_found")
        return found

    def replies(self, root: str) -> list[int]:
        return self.threads.get(root, [])


@dataclass(frozen=True)
class Change:
    """One thing that happened in a channel, for events and for hooks."""

    kind: ChangeKind
    channel: Channel
    message: Json
    actor: str
    previous: Json | None = None
    name: str = ""


def window(
    stamps: list[int], *, oldest: int | None, latest: int | None, inclusive: bool
) -> tuple[int, int]:
    """Index range of the stamps between `oldest` and `latest` (microseconds)."""
    low, high = 0, len(stamps)
    if oldest is not None:
        low = bisect_left(stamps, oldest) if inclusive else bisect_right(stamps, oldest)
    if latest is not None:
        high = bisect_right(stamps, latest) if inclusive else bisect_left(stamps, latest)
    return low, max(low, high)


def _drop(stamps: list[int], value: int) -> None:
    index = bisect_left(stamps, value)
    if index < len(stamps) and stamps[index] == value:
        del stamps[index]


class Workspace:
    """People and channels of one workspace. Changes are queued until `take_changes`."""

    def __init__(self, clock: Callable[[], int]) -> None:
        self.clock = clock
        self.team_id = "T0HOLLOW01"
        self.team_name = "Hollowmere"
        self.team_domain = "hollowmere"
        self.bot_user = "U0BOT00001"
        self.bot_id = "B0BOT00001"
        self.app_id = "A0APP00001"
        self.bot_name = "install-desk"
        self.users: dict[str, User] = {}
        self.channels: dict[str, Channel] = {}
        self.names: dict[str, str] = {}
        self.dms: dict[str, str] = {}
        self._changes: list[Change] = []
        self._made: dict[str, int] = {}
        self.users[self.bot_user] = User(self.bot_user, self.bot_name, is_bot=True)

    def snapshot(self) -> Json:
        """People, channels and counters as JSON data."""
        return {
            "users": [asdict(user) for user in self.users.values()],
            "channels": [asdict(channel) for channel in self.channels.values()],
            "made": dict(self._made),
        }

    def restore(self, saved: Json) -> None:
        """Take over what `snapshot` gave; what was there before is gone."""
        self.users = {user["id"]: User(**user) for user in saved["users"]}
        self.channels = {channel["id"]: Channel(**channel) for channel in saved["channels"]}
        rooms = self.channels.values()
        self.names = {room.name: room.id for room in rooms if room.kind != "im"}
        self.dms = {room.with_user: room.id for room in rooms if room.kind == "im"}
        self._made = dict(saved["made"])
        self._changes.clear()

    def take_changes(self) -> list[Change]:
        changes, self._changes = self._changes, []
        return changes

    def make_id(self, prefix: str) -> str:
        """A readable identifier never given before: C00000001, C00000002, ..."""
        number = self._made.get(prefix, 0) + 1
        self._made[prefix] = number
        return f"{prefix}{number:08d}"

    # people and channels

    def add_user(self, user: User) -> None:
        user.updated = self.clock() // 1000
        self.users[user.id] = user

    def user(self, user: str) -> User:
        found = self.users.get(user)
        if found is None:
            raise Refused("user_not_found")
        return found

    def add_channel(self, channel: Channel) -> Channel:
        channel.created = self.clock() // 1000
        self.channels[channel.id] = channel
        if channel.kind != "im":
            self.names[channel.name] = channel.id
        return channel

    def channel(self, channel: str) -> Channel:
        """The channel as the bot may see it: others' private ones are not found."""
        found = self.channels.get(channel)
        if found is None or (found.kind != "channel" and self.bot_user not in found.members):
            raise Refused("channel_not_found")
        return found

    def dm_with(self, user: str) -> Channel:
        found = self.dms.get(user)
        if found is not None:
            return self.channels[found]
        members = {self.bot_user: None, user: None}
        channel = Channel(self.make_id("D"), "", kind="im", members=members, with_user=user)
        self.dms[user] = channel.id
        return self.add_channel(channel)

    # messages

    def post(self, channel: Channel, message: Json, actor: str) -> Json:
        """Store a message; a `thread_ts` must already name its root."""
        message["ts"] = channel.next_stamp(self.clock())
        channel.messages[message["ts"]] = message
        micros = channel.last_stamp
        root = message.get("thread_ts")
        if root is None or message.get("subtype") == "thread_broadcast":
            channel.roots.append(micros)
        if root is not None:
            self._join_thread(channel, root, message, micros)
        self._changes.append(Change("posted", channel, copy.deepcopy(message), actor))
        return message

    def _join_thread(self, channel: Channel, root: str, message: Json, micros: int) -> None:
        parent = channel.messages[root]
        message["parent_user_id"] = parent.get("user", "")
        channel.threads.setdefault(root, []).append(micros)
        self._count_thread(channel, root)
        users = parent["reply_users"]
        if message["user"] not in users and len(users) < 5:
            users.append(message["user"])
            parent["reply_users_count"] = len(users)

    def _count_thread(self, channel: Channel, root: str) -> None:
        parent = channel.messages.get(root)
        if parent is None:
            return
        stamps = channel.threads[root]
        parent.update(thread_ts=root, reply_count=len(stamps))
        parent.setdefault("reply_users", [])
        parent.setdefault("reply_users_count", 0)
        if stamps:
            parent["latest_reply"] = stamp(stamps[-1])

    def change(self, channel: Channel, ts: str, fields: Json, actor: str) -> Json:
        """Replace fields of a message; a field set to None is removed."""
        message = channel.messages[ts]
        previous = copy.deepcopy(message)
        for name, value in fields.items():
            if value is None:
                message.pop(name, None)
            else:
                message[name] = value
        self._changes.append(
            Change("updated", channel, copy.deepcopy(message), actor, previous=previous)
        )
        return message

    def delete(self, channel: Channel, ts: str, actor: str) -> None:
        """Delete a message; a root with replies leaves a tombstone in its place."""
        message = channel.messages[ts]
        channel.pins.pop(ts, None)
        if channel.threads.get(ts):
            self._bury(channel, message, actor)
            return
        micros = micros_of(ts)
        del channel.messages[ts]
        _drop(channel.roots, micros)
        root = message.get("thread_ts")
        if root is not None and root in channel.threads:
            _drop(channel.threads[root], micros)
            self._count_thread(channel, root)
        self._changes.append(Change("deleted", channel, message, actor, previous=message))

    def _bury(self, channel: Channel, message: Json, actor: str) -> None:
        # The tombstone's fields are from memory; no published page shows them.
        previous = copy.deepcopy(message)
        keep = {"ts", "thread_ts", "reply_count", "reply_users", "reply_users_count"}
        for name in list(message):
            if name not in keep and name not in {"type", "latest_reply"}:
                del message[name]
        message.update(
            subtype="tombstone", text="This message was deleted.", user="USLACKBOT", hidden=True
        )
        self._changes.append(
            Change("deleted", channel, copy.deepcopy(message), actor, previous=previous)
        )

    def as_bot(self) -> Json:
        """The fields of a message that the app posts."""
        return {
            "type": "message",
            "user": self.bot_user,
            "bot_id": self.bot_id,
            "app_id": self.app_id,
            "team": self.team_id,
        }

    def unpin(self, channel: Channel, ts: str, actor: str) -> None:
        if ts not in channel.pins:
            raise Refused("no_pin")
        del channel.pins[ts]
        message = channel.messages[ts]
        message.pop("pinned_to", None)
        self.note(Change("unpinned", channel, dict(message), actor))

    def note(self, change: Change) -> None:
        """Queue a change that is no message of its own (pin, reaction, ephemeral)."""
        self._changes.append(change)
