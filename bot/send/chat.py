"""The chat platform as a place to send to, with the library's defaults that hurt turned off.

The library's client would retry by itself, would ignore its timeout on a shared session, would
take a proxy from the environment even for a local address, and writes message texts into the
debug log of a logger that is on by default. None of that happens here: no retry handlers, our
own deadline around every call, a proxy only where one is given, a logger of our own.
"""

import asyncio
import logging
from collections.abc import AsyncIterator, Awaitable, Callable
from dataclasses import dataclass
from typing import Any, cast
from urllib.parse import urlsplit
from urllib.request import getproxies, proxy_bypass

import aiohttp
from slack_sdk.errors import SlackApiError, SlackClientError
from slack_sdk.web.async_client import AsyncWebClient
from slack_sdk.web.async_slack_response import AsyncSlackResponse

from bot.send.chaterrors import DONE_ALREADY, sort_api_error
from bot.send.errors import InDoubt, MessageRefused, Part, Passing, SendError
from bot.speak.render import EVENT_TYPE, Rendered

PLATFORM = "https://slack.com/api/"
CONNECT_SECONDS = 2.0
PAGE = 200
_log = logging.getLogger("musterline.chat")
_client_log = logging.getLogger("musterline.chat.client")
_client_log.setLevel(logging.INFO)  # below it the library writes out what we say to people


@dataclass(frozen=True)
class Posted:
    """Where a message is: the platform's channel and its opaque stamp."""

    channel: str
    stamp: str


@dataclass(frozen=True)
class Seen:
    """One of our messages as found when reading back. ``mark`` is its metadata's payload."""

    stamp: str
    mark: dict[str, Any]

    @property
    def id(self) -> str:
        return str(self.mark.get("id", ""))

    @property
    def rev(self) -> int:
        return int(self.mark.get("rev", 0))


def proxy_for(base_url: str) -> str | None:
    """The proxy that the environment names for this address, exceptions respected.

    None for the local machine, whatever the environment says.
    """
    parts = urlsplit(base_url)
    host = parts.hostname or ""
    if host in {"localhost", "::1"} or host.startswith("127."):
        return None
    if proxy_bypass(host):
        return None
    return getproxies().get(parts.scheme)


def make_client(
    token: str,
    *,
    session: aiohttp.ClientSession | None,
    base_url: str = PLATFORM,
    proxy: str | None = None,
) -> AsyncWebClient:
    """The library's client with nothing left to its defaults."""
    client = AsyncWebClient(
        token=token,
        base_url=base_url,
        session=session,
        timeout=5,  # only for a session of its own, which it makes when ours is closed
        trust_env_in_session=False,
        retry_handlers=[],
        logger=_client_log,
    )
    client.proxy = proxy  # the constructor took one from the environment
    return client


class ChatOut:
    """Calls of the platform, each under a deadline in seconds of process time."""

    def __init__(
        self,
        token: str,
        *,
        base_url: str = PLATFORM,
        proxy: str | None = None,
        deadline: float = 10.0,
    ) -> None:
        self._token, self._base_url, self._proxy = token, base_url, proxy
        self._session: aiohttp.ClientSession | None = None
        self._client: AsyncWebClient | None = None
        self.deadline = deadline

    @property
    def client(self) -> AsyncWebClient:
        """The client, made in the running loop when first asked for."""
        if self._client is None or self._session is None or self._session.closed:
            self._session = aiohttp.ClientSession(
                timeout=aiohttp.ClientTimeout(total=None, sock_connect=CONNECT_SECONDS),
                trust_env=False,
            )
            self._client = make_client(
                self._token, session=self._session, base_url=self._base_url, proxy=self._proxy
            )
        return self._client

    async def close(self) -> None:
        if self._session is not None:
            await self._session.close()

    async def post(
        self,
        channel: str,
        rendered: Rendered,
        thread: str = "",
        *,
        deadline: float | None = None,
    ) -> Posted:
        """Post a message, below ``thread`` when given. Raises ``SendError``; ``InDoubt`` when
        nobody knows whether it is there."""
        answer = await self._write(
            lambda: self.client.chat_postMessage(
                channel=channel,
                text=rendered.text,
                blocks=rendered.blocks,
                metadata=rendered.metadata,
                thread_ts=thread or None,
                unfurl_links=False,
                unfurl_media=False,
            ),
            deadline,
            "post",
        )
        return Posted(str(answer.get("channel") or channel), _stamp(answer))

    async def update(self, channel: str, stamp: str, rendered: Rendered) -> Posted:
        """Edit our message. Raises ``EditRefused`` when it has to be posted anew."""
        answer = await self._again(
            lambda: self.client.chat_update(
                channel=channel,
                ts=stamp,
                text=rendered.text,
                blocks=rendered.blocks,
                metadata=rendered.metadata,
            ),
            "edit",
        )
        return Posted(channel, _stamp(answer))

    async def pin(self, channel: str, stamp: str) -> None:
        """Pin our message; one that is pinned already is fine."""
        await self._again(lambda: self.client.pins_add(channel=channel, timestamp=stamp), "pin")

    async def delete(self, channel: str, stamp: str) -> None:
        """Delete our message; one that is gone already is fine."""
        try:
            await self._again(lambda: self.client.chat_delete(channel=channel, ts=stamp))
        except SendError as error:
            if error.why != "message_not_found":
                raise

    async def open_direct(self, user: str) -> str:
        """The channel of the conversation with one person. Raises ``PersonAway``."""
        answer = await self._again(lambda: self.client.conversations_open(users=[user]))
        channel = answer.get("channel") or {}
        if not channel.get("id"):
            raise MessageRefused("conversations.open named no channel")
        return str(channel["id"])

    async def permalink(self, channel: str, stamp: str) -> str:
        answer = await self._again(
            lambda: self.client.chat_getPermalink(channel=channel, message_ts=stamp)
        )
        return str(answer.get("permalink") or "")

    async def ours(
        self, channel: str, thread: str = "", *, since: int | None = None, most: int = 1000
    ) -> list[Seen]:
        """Our own messages in a thread, or at the channel's root, by stamp.

        ``since`` is wave time, ms: only later ones; ``most`` bounds how many are read. Without
        ``include_all_metadata`` the platform would leave our marks out.
        """
        oldest = None if since is None else f"{max(0, since) // 1000}.000000"
        found: list[Seen] = []
        read = 0
        async for messages in self._pages(channel, thread, oldest):
            read += len(messages)
            found += [seen for message in messages if (seen := _seen(message)) is not None]
            if read >= most:
                break
        return sorted({seen.stamp: seen for seen in found}.values(), key=lambda seen: seen.stamp)

    async def messages(self, channel: str, thread: str = "", *, since: int) -> list[dict[str, Any]]:
        """All messages of a thread, or at the channel's root, from ``since`` (wave time, ms)."""
        oldest = f"{max(0, since) // 1000}.000000"
        found = {
            str(message.get("ts", "")): message
            async for page in self._pages(channel, thread, oldest)
            for message in page
        }
        return [found[stamp] for stamp in sorted(found)]

    async def _pages(
        self, channel: str, thread: str, oldest: str | None
    ) -> AsyncIterator[list[dict[str, Any]]]:
        cursor: str | None = None
        while True:
            page = await self._page(channel, thread, oldest, cursor)
            yield list(page.get("messages") or [])
            cursor = (page.get("response_metadata") or {}).get("next_cursor") or None
            if cursor is None:
                return

    async def _page(
        self, channel: str, thread: str, oldest: str | None, cursor: str | None
    ) -> AsyncSlackResponse:
        if thread:
            return await self._again(
                lambda: self.client.conversations_replies(
                    channel=channel,
                    ts=thread,
                    oldest=oldest,
                    cursor=cursor,
                    limit=PAGE,
                    inclusive=True,
                    include_all_metadata=True,
                )
            )
        return await self._again(
            lambda: self.client.conversations_history(
                channel=channel,
                oldest=oldest,
                cursor=cursor,
                limit=PAGE,
                inclusive=True,
                include_all_metadata=True,
            )
        )

    async def _again(
        self, call: Callable[[], Awaitable[AsyncSlackResponse]], part: Part = ""
    ) -> AsyncSlackResponse:
        """A call that may be repeated: an unknown outcome is passing."""
        try:
            return await self._write(call, None, part)
        except InDoubt as error:
            raise Passing(error.why, part=part) from error

    async def _write(
        self,
        call: Callable[[], Awaitable[AsyncSlackResponse]],
        deadline: float | None,
        part: Part,
    ) -> AsyncSlackResponse:
        try:
            async with asyncio.timeout(deadline or self.deadline):
                return await call()
        except SlackApiError as error:
            if _already_done(error):
                return cast("AsyncSlackResponse", error.response)
            raise sort_api_error(error, part) from error
        except (aiohttp.ClientConnectorError, aiohttp.ConnectionTimeoutError) as error:
            raise Passing(f"no connection: {error}", part=part) from error
        except TimeoutError as error:
            raise InDoubt("no answer in time") from error
        except (aiohttp.ClientError, OSError) as error:
            raise InDoubt(f"cut off: {error!r}") from error
        except (SlackClientError, AttributeError, ValueError) as error:
            # What stands in front of the platform answered, in a form the library cannot read.
            raise InDoubt(f"an answer that cannot be read: {error!r}") from error


def time_of(stamp: str) -> int | None:
    """The time (ms) in one of the platform's stamps, which everywhere else are opaque names."""
    try:
        return round(float(stamp) * 1000)
    except ValueError:
        return None


def _already_done(error: SlackApiError) -> bool:
    data = getattr(error.response, "data", None)
    return isinstance(data, dict) and data.get("error") in DONE_ALREADY


def _stamp(answer: AsyncSlackResponse) -> str:
    stamp = answer.get("ts")
    if not stamp:
        raise InDoubt("the answer names no message")
    return str(stamp)


def _seen(message: dict[str, Any]) -> Seen | None:
    mark = message.get("metadata") or {}
    if mark.get("event_type") != EVENT_TYPE:
        return None
    payload = mark.get("event_payload")
    return Seen(str(message.get("ts", "")), payload) if isinstance(payload, dict) else None
