"""Small things said outside the outbox: hints to the one who pressed, and who we are.

Losing one of these harms nobody, so they are tried once, under the usual deadline.
"""

import asyncio
from typing import Any

import aiohttp
from slack_sdk.errors import SlackApiError, SlackClientError

from bot.send.chat import ChatOut
from bot.send.errors import Passing
from bot.speak.render import marked

Buttons = list[dict[str, Any]]


async def say(
    chat: ChatOut, channel: str, text: str, thread: str = "", buttons: Buttons | None = None
) -> None:
    """One plain line, perhaps with buttons. Raises ``SendError``."""
    await _once(
        chat,
        chat.client.chat_postMessage(
            channel=channel, text=text, thread_ts=thread or None, blocks=_blocks(text, buttons)
        ),
    )


async def whisper(
    chat: ChatOut,
    channel: str,
    user: str,
    text: str,
    thread: str = "",
    buttons: Buttons | None = None,
) -> None:
    """The same, seen by ``user`` alone. Raises ``SendError``."""
    await _once(
        chat,
        chat.client.chat_postEphemeral(
            channel=channel,
            user=user,
            text=text,
            thread_ts=thread or None,
            blocks=_blocks(text, buttons),
        ),
    )


def _blocks(text: str, buttons: Buttons | None) -> list[dict[str, Any]] | None:
    return marked(text, {}, buttons).blocks if buttons else None


async def one_message(
    chat: ChatOut, channel: str, stamp: str, thread: str = ""
) -> dict[str, Any] | None:
    """A message as it stands now; ``None`` when it is gone. Raises ``SendError``."""
    if thread:
        call = chat.client.conversations_replies(
            channel=channel, ts=thread, oldest=stamp, latest=stamp, inclusive=True, limit=2
        )
    else:
        call = chat.client.conversations_history(
            channel=channel, oldest=stamp, latest=stamp, inclusive=True, limit=1
        )
    found = await _once(chat, call)
    messages = found.get("messages") or []
    return next((dict(message) for message in messages if message.get("ts") == stamp), None)


async def who_am_i(chat: ChatOut) -> dict[str, str]:
    """Team, user and address of the bot, as the platform knows it. Raises ``SendError``."""
    found = await _once(chat, chat.client.auth_test())
    return {
        "team": str(found.get("team_id") or ""),
        "bot_user": str(found.get("user_id") or ""),
        "bot_id": str(found.get("bot_id") or ""),
        "url": str(found.get("url") or ""),
    }


async def scopes(chat: ChatOut) -> frozenset[str]:
    """What our token may do, as the platform says in a header of its answers; empty: it does not.

    Source: "X-OAuth-Scopes" of https://docs.slack.dev/authentication/installing-with-oauth
    (from memory). Raises ``SendError``.
    """
    found = await _once(chat, chat.client.auth_test())
    headers = {name.lower(): str(value) for name, value in (found.headers or {}).items()}
    given = headers.get("x-oauth-scopes", "")
    return frozenset(word.strip() for word in given.split(",") if word.strip())


async def account(chat: ChatOut, user: str) -> dict[str, Any]:
    """A person's account. Raises ``SendError`` with the platform's word for why not."""
    found = await _once(chat, chat.client.users_info(user=user))
    return dict(found.get("user") or {})


async def newest(chat: ChatOut, channel: str) -> str:
    """Stamp of the newest message at a channel's root; empty when there is none.

    Raises ``SendError``: then the channel cannot be read back either.
    """
    found = await _once(chat, chat.client.conversations_history(channel=channel, limit=1))
    messages = found.get("messages") or []
    return str(messages[0]["ts"]) if messages else ""


async def read_thread(chat: ChatOut, channel: str, stamp: str) -> None:
    """See that threads can be read. Raises ``SendError``."""
    await _once(chat, chat.client.conversations_replies(channel=channel, ts=stamp, limit=1))


async def _once(chat: ChatOut, call: Any) -> Any:
    try:
        async with asyncio.timeout(chat.deadline):
            return await call
    except SlackApiError as error:
        raise Passing(str(error.response.get("error", "unknown error"))) from error
    except (SlackClientError, aiohttp.ClientError, TimeoutError, OSError) as error:
        raise Passing(repr(error)) from error
