"""What a method may use: the workspace, its arguments, the scopes and the rate limits."""

import base64
from dataclasses import dataclass

from bot.practice.chatserver.answers import Args, Refused
from bot.practice.chatserver.ratelimit import RateLimits
from bot.practice.chatserver.state import Channel, Workspace

_FAMILY = {"channel": "channels", "group": "groups", "im": "im"}


@dataclass
class Rules:
    """Where the documentation is silent or says two things, what the stand-in does.

    refuse_unknown_thread: a reply to a message that is not there is refused; otherwise it
    lands at the root of the channel, as the platform is reported to do.
    bot_reads_threads: a bot token may read threads of channels, as their scopes say; the page
    of conversations.replies says that it "lacks sufficient permissions".
    """

    refuse_unknown_thread: bool = True
    bot_reads_threads: bool = True


@dataclass(frozen=True)
class Call:
    """One call to a method."""

    workspace: Workspace
    args: Args
    scopes: frozenset[str]
    limits: RateLimits
    rules: Rules

    def need_scope(self, needed: str) -> None:
        if needed not in self.scopes:
            provided = ",".join(sorted(self.scopes))
            raise Refused("missing_scope", needed=needed, provided=provided)

    def channel(self, what: str | None = None) -> Channel:
        """The channel named by the call; `what` ("read", "history") is the scope it takes."""
        channel = self.workspace.channel(self.args.text("channel"))
        if what is not None:
            self.need_scope(f"{_FAMILY[channel.kind]}:{what}")
        return channel

    def member_of(self, channel: Channel) -> None:
        if self.workspace.bot_user not in channel.members:
            raise Refused("not_in_channel")

    def page(self, *, default: int, most: int) -> tuple[int, int]:
        """Offset and limit of the page asked for.

        Source: "Pagination", https://docs.slack.dev/apis/web-api/pagination
        """
        limit = self.args.number("limit", default)
        if limit < 1 or limit > most:
            raise Refused("invalid_limit")
        cursor = self.args.text("cursor")
        return (_offset(cursor) if cursor else 0), limit


def cursor_at(offset: int) -> str:
    """An opaque cursor for the next page."""
    return base64.b64encode(f"next:{offset}".encode()).decode()


def _offset(cursor: str) -> int:
    try:
        word, _, number = base64.b64decode(cursor, validate=True).decode().partition(":")
        offset = int(number)
    except ValueError:
        raise Refused("invalid_cursor") from None
    if word != "next" or offset < 0:
        raise Refused("invalid_cursor")
    return offset
