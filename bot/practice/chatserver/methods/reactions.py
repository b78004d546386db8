"""reactions.*

Source: https://docs.slack.dev/reference/methods/reactions.add and reactions.remove.
"""

import re

from bot.practice.chatserver.answers import Json, Refused
from bot.practice.chatserver.methods.call import Call
from bot.practice.chatserver.state import Change, Channel, Workspace, micros_of

_NAME = re.compile(r"[a-z0-9_+'-]+(::skin-tone-[2-6])?")
MOST_KINDS = 50


def react(workspace: Workspace, channel: Channel, message: Json, name: str, user: str) -> None:
    """Add one person's reaction to a message."""
    reactions = message.setdefault("reactions", [])
    for reaction in reactions:
        if reaction["name"] == name:
            if user in reaction["users"]:
                raise Refused("already_reacted")
            reaction["users"].append(user)
            reaction["count"] = len(reaction["users"])
            break
    else:
        if len(reactions) >= MOST_KINDS:
            raise Refused("too_many_emoji")
        reactions.append({"name": name, "users": [user], "count": 1})
    workspace.note(Change("reacted", channel, dict(message), user, name=name))


def unreact(workspace: Workspace, channel: Channel, message: Json, name: str, user: str) -> None:
    """Take one person's reaction off a message."""
    for reaction in message.get("reactions", []):
        if reaction["name"] == name and user in reaction["users"]:
            _take_off(message, reaction, user)
            workspace.note(Change("unreacted", channel, dict(message), user, name=name))
            return
    raise Refused("no_reaction")


def _item(call: Call) -> tuple[Channel, Json, str]:
    name = call.args.text("name").strip(":")
    if not _NAME.fullmatch(name):
        raise Refused("invalid_name")
    if not call.args.text("channel") or not call.args.text("timestamp"):
        raise Refused("no_item_specified")
    channel = call.channel()
    micros_of(call.args.text("timestamp"), "bad_timestamp")
    call.member_of(channel)
    return channel, channel.message(call.args.text("timestamp")), name


def add(call: Call) -> Json:
    channel, message, name = _item(call)
    react(call.workspace, channel, message, name, call.workspace.bot_user)
    return {"ok": True}


def remove(call: Call) -> Json:
    channel, message, name = _item(call)
    unreact(call.workspace, channel, message, name, call.workspace.bot_user)
    return {"ok": True}


def _take_off(message: Json, reaction: Json, user: str) -> None:
    reaction["users"].remove(user)
    reaction["count"] = len(reaction["users"])
    if not reaction["users"]:
        message["reactions"].remove(reaction)
    if not message["reactions"]:
        del message["reactions"]
