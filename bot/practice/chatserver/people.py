"""What people do in the stand-in: write, edit, delete, react, press, send a command."""

import abc
from collections.abc import Iterable

from bot.practice.chatserver.answers import Json, Refused
from bot.practice.chatserver.attempt import Delivery
from bot.practice.chatserver.delivery import Sender
from bot.practice.chatserver.events import (
    acted,
    block_actions,
    client_id,
    find_action,
    member_joined,
    rich_text,
    slash_command,
    typed,
    user_change,
)
from bot.practice.chatserver.methods.reactions import react, unreact
from bot.practice.chatserver.methods.users import describe
from bot.practice.chatserver.state import Channel, User, Workspace


class NotThere(KeyError):
    """What a person wants to touch is not there: no such channel, message or button."""


class People(abc.ABC):
    """Things people do. Each is told to the app as the platform tells it."""

    workspace: Workspace
    sender: Sender

    @abc.abstractmethod
    async def _tell(self) -> None:
        """Send what has changed to the app as events."""

    @abc.abstractmethod
    async def _tell_event(self, event: Json) -> None:
        """Send one inner event that belongs to no channel."""

    @abc.abstractmethod
    def _has_commands(self) -> bool:
        """Whether the app was granted commands."""

    @abc.abstractmethod
    def _response_url(self, channel: Channel, user: str, ts: str | None) -> str:
        """An address where the app may answer for half an hour."""

    def _channel(self, channel: str) -> Channel:
        found = self.workspace.channels.get(channel)
        if found is None:
            raise NotThere(f"no channel {channel}")
        return found

    def _message(self, channel: str, ts: str) -> Json:
        found = self._channel(channel).messages.get(ts)
        if found is None:
            raise NotThere(f"no message {ts} in {channel}")
        return found

    def _active(self, user: str) -> User:
        found = self.workspace.users.get(user)
        if found is None or found.deleted:
            raise NotThere(f"no active account {user}")
        return found

    async def say(
        self,
        user: str,
        channel: str,
        text: str,
        *,
        thread_ts: str | None = None,
        files: Iterable[Json] = (),
    ) -> str:
        """A person writes, in a thread or at the root; the stamp of the message."""
        self._active(user)
        place = self._channel(channel)
        if place.archived:
            raise NotThere(f"{channel} is archived")
        message: Json = {"type": "message", "user": user, "text": typed(text)}
        message["team"] = self.workspace.team_id
        attached = list(files)
        if attached:
            message.update(subtype="file_share", files=attached)
        if thread_ts is not None:
            parent = self._message(channel, thread_ts)
            message["thread_ts"] = parent.get("thread_ts", thread_ts)
        place.members.setdefault(user, None)
        message["blocks"] = rich_text(text, self.workspace.make_id("blk"))
        message["client_msg_id"] = client_id(place, place.last_stamp)
        posted = self.workspace.post(place, message, user)
        ts = str(posted["ts"])
        await self._tell()
        return ts

    async def mention(
        self, user: str, channel: str, text: str, *, thread_ts: str | None = None
    ) -> str:
        """A person writes to the bot by name: a message and an app_mention event."""
        whole = f"<@{self.workspace.bot_user}> {text}"
        return await self.say(user, channel, whole, thread_ts=thread_ts)

    async def dm(self, user: str, text: str) -> str:
        """A person writes to the bot directly."""
        return await self.say(user, self.workspace.dm_with(user).id, text)

    async def edit(self, user: str, channel: str, ts: str, text: str) -> None:
        """A person edits a message of their own."""
        self._active(user)
        message = self._message(channel, ts)
        if message.get("user") != user:
            raise NotThere(f"{user} did not write message {ts}")
        fields: Json = {
            "text": typed(text),
            "blocks": rich_text(text, self.workspace.make_id("blk")),
            "edited": {"user": user, "ts": f"{self.workspace.clock() // 1000}.000000"},
        }
        self.workspace.change(self._channel(channel), ts, fields, user)
        await self._tell()

    async def delete(self, user: str, channel: str, ts: str) -> None:
        """A person deletes a message; the bot's too, as an admin may."""
        self._active(user)
        self._message(channel, ts)
        self.workspace.delete(self._channel(channel), ts, user)
        await self._tell()

    async def react(self, user: str, channel: str, ts: str, name: str) -> None:
        """A person adds a reaction."""
        self._active(user)
        message = self._message(channel, ts)
        react(self.workspace, self._channel(channel), message, name, user)
        await self._tell()

    async def unreact(self, user: str, channel: str, ts: str, name: str) -> None:
        """A person takes a reaction away again."""
        self._active(user)
        message = self._message(channel, ts)
        try:
            unreact(self.workspace, self._channel(channel), message, name, user)
        except Refused:
            raise NotThere(f"{user} put no {name} on message {ts}") from None
        await self._tell()

    async def join(self, user: str, channel: str) -> None:
        """A person comes into a channel."""
        self._active(user)
        place = self._channel(channel)
        place.members.setdefault(user, None)
        await self._tell_event(member_joined(self.workspace, place, user))

    async def unpin(self, user: str, channel: str, ts: str) -> None:
        """A person takes a pin away."""
        self._active(user)
        try:
            self.workspace.unpin(self._channel(channel), ts, user)
        except Refused:
            raise NotThere(f"message {ts} is not pinned in {channel}") from None
        await self._tell()

    async def archive(self, channel: str) -> None:
        """An admin archives a channel: nobody can post or edit there."""
        self._channel(channel).archived = True

    async def change_user(
        self, user: str, *, deleted: bool | None = None, name: str | None = None
    ) -> None:
        """An account is disabled, enabled or renamed: a user_change event."""
        who = self.workspace.users[user]
        who.deleted = who.deleted if deleted is None else deleted
        who.name = who.name if name is None else name
        who.updated = self.workspace.clock() // 1000
        shown = describe(self.workspace, who, locale=True)
        await self._tell_event(user_change(shown, who.updated))

    async def press(
        self,
        user: str,
        channel: str,
        ts: str,
        action_id: str,
        *,
        block_id: str | None = None,
        option: str | None = None,
    ) -> Delivery:
        """A person presses a button of the message as it stands now.

        `option` is the value chosen in a select or overflow menu. Raises NotThere (a
        KeyError) when message, button or option is not there. Not resent when it fails.
        """
        self._active(user)
        place = self._channel(channel)
        message = place.messages.get(ts) or place.ephemeral.get(ts)
        if message is None:
            raise NotThere(f"no message {ts} in {channel}")
        element = find_action(message, action_id, block_id)
        if element is None:
            raise NotThere(f"no button {action_id} in message {ts}")
        action = acted(element, option, self.workspace.clock())
        if action is None:
            raise NotThere(f"no option {option} in {action_id}")
        url = self._response_url(place, user, ts)
        body = block_actions(self.workspace, place, dict(message), user, action, url)
        return await self.sender.send("interactive", body)

    async def command(self, user: str, channel: str, command: str, text: str) -> Delivery:
        """A person sends a slash command (never inside a thread). Not resent when it fails."""
        self._active(user)
        if not self._has_commands():
            raise NotThere(f"the app has no command {command}: it lacks the scope commands")
        place = self._channel(channel)
        url = self._response_url(place, user, None)
        body = slash_command(self.workspace, place, user, command, text, url)
        return await self.sender.send("command", dict(body))
