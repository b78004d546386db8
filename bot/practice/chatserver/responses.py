"""Answers to a response_url: five within half an hour of wave time.

Source: "Handling user interaction", https://docs.slack.dev/interactivity/
handling-user-interaction ("Message responses": up to 5 times within 30 minutes;
response_type, replace_original, delete_original, thread_ts).
"""

import json
from dataclasses import dataclass
from typing import Any

from aiohttp import web

from bot.practice.chatserver.answers import Args, Json, Refused
from bot.practice.chatserver.methods.chat import content_of
from bot.practice.chatserver.state import Change, Channel, Workspace

MOST_USES = 5
LASTS = 30 * 60_000


@dataclass
class _Address:
    channel: Channel
    user: str
    ts: str | None
    until: int
    left: int = MOST_USES


class Responses:
    """The addresses given out with presses and commands."""

    def __init__(self, workspace: Workspace) -> None:
        self.workspace = workspace
        self._given: dict[str, _Address] = {}

    def give(self, channel: Channel, user: str, ts: str | None) -> str:
        """A new address's name."""
        name = self.workspace.make_id("R")
        self._given[name] = _Address(channel, user, ts, self.workspace.clock() + LASTS)
        return name

    def use(self, name: str, sent: Any) -> None:
        """Carry out one answer. Raises Refused when it is not (or no more) allowed."""
        if not isinstance(sent, dict):
            raise Refused("invalid_payload")
        address = self._given.get(name)
        if address is None or self.workspace.clock() > address.until or address.left < 1:
            raise Refused("expired_url")
        address.left -= 1
        bot = self.workspace.bot_user
        original = address.channel.messages.get(address.ts or "")
        if sent.get("delete_original") and original is not None:
            self.workspace.delete(address.channel, original["ts"], bot)
            return
        content = content_of(Args(sent), self.workspace)
        if sent.get("replace_original") and original is not None:
            fields = {"blocks": None, **content}
            self.workspace.change(address.channel, original["ts"], fields, bot)
            return
        self._new(address, sent, content)

    def _new(self, address: _Address, sent: Json, content: Json) -> None:
        message = {**self.workspace.as_bot(), **content}
        channel = address.channel
        thread_ts = sent.get("thread_ts")
        if thread_ts in channel.messages:
            message["thread_ts"] = channel.messages[thread_ts].get("thread_ts", thread_ts)
        if sent.get("response_type") == "in_channel":
            self.workspace.post(channel, message, self.workspace.bot_user)
            return
        message.update(ts=channel.next_stamp(self.workspace.clock()), ephemeral_to=address.user)
        channel.ephemeral[message["ts"]] = message
        self.workspace.note(Change("ephemeral", channel, dict(message), self.workspace.bot_user))


async def answer(responses: Responses, request: web.Request) -> web.Response:
    """One POST to a response_url."""
    try:
        responses.use(request.match_info["name"], json.loads(await request.text()))
    except ValueError:
        return web.json_response({"ok": False, "error": "invalid_payload"}, status=400)
    except Refused as refused:
        status = 404 if refused.error == "expired_url" else 400
        return web.json_response(refused.answer(), status=status)
    return web.json_response({"ok": True})
