"""Event, interaction and command bodies as the platform sends them.

Source: "The Events API", https://docs.slack.dev/apis/events-api/ (outer and inner event),
https://docs.slack.dev/reference/events/message and its subtypes, app_mention, user_change,
reaction_added; "block_actions", https://docs.slack.dev/reference/interaction-payloads/
block_actions-payload; "Slash commands",
https://docs.slack.dev/interactivity/implementing-slash-commands.
"""

import re
import uuid

from bot.practice.chatserver.answers import Json
from bot.practice.chatserver.state import Change, Channel, Workspace

_NAMESPACE = uuid.UUID("8a3c2f0e-4a0b-5d3e-9b61-0f7a5d6c1e22")
_OLD_TOKEN = "practice"  # noqa: S105  a deprecated field, still sent, never checked
_TOKEN = re.compile(r"<(?:[@#!][^<>\s]+|https?://[^<>\s]+)>")
_LINK = re.compile(r"https?://[^\s<>]+")
_MAIL = re.compile(r"[\w.+-]+@[\w-]+(?:\.[\w-]+)+")
_KINDS = {"channel": "channel", "group": "group", "im": "im"}


def typed(text: str) -> str:
    """Typed text as it arrives: & < > escaped, links and mentions in angle brackets.

    Source: "Formatting message text", https://docs.slack.dev/messaging/formatting-message-text
    """
    out, at = [], 0
    for token in _TOKEN.finditer(text):
        out += [_escaped(text[at : token.start()]), token.group()]
        at = token.end()
    return "".join([*out, _escaped(text[at:])])


def _escaped(text: str) -> str:
    safe = text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
    safe = _MAIL.sub(lambda mail: f"<mailto:{mail.group()}|{mail.group()}>", safe)
    return _LINK.sub(lambda link: f"<{link.group()}>", safe)


def client_id(channel: Channel, number: int) -> str:
    """`client_msg_id` of a person's message: the same in every run."""
    return str(uuid.uuid5(_NAMESPACE, f"{channel.id}/{number}"))


def rich_text(text: str, block_id: str) -> list[Json]:
    """The block that comes with every typed message."""
    section = {"type": "rich_text_section", "elements": [{"type": "text", "text": text}]}
    return [{"type": "rich_text", "block_id": block_id, "elements": [section]}]


def needed_scope(event: Json) -> str:
    """The scope without which an app does not get this event.

    Source: the event's page, https://docs.slack.dev/reference/events/EVENT ("Facts").
    """
    if event["type"] == "message":
        families = {"channel": "channels", "group": "groups", "im": "im"}
        return f"{families[event['channel_type']]}:history"
    return _SCOPES[event["type"]]


_SCOPES = {
    "app_mention": "app_mentions:read",
    "reaction_added": "reactions:read",
    "reaction_removed": "reactions:read",
    "member_joined_channel": "channels:read",
    "pin_added": "pins:read",
    "pin_removed": "pins:read",
    "user_change": "users:read",
}


def user_change(user: Json, now: int) -> Json:
    """An account changed; `now` in seconds."""
    return {"type": "user_change", "user": user, "cache_ts": now, "event_ts": f"{now}.000000"}


def member_joined(workspace: Workspace, channel: Channel, user: str) -> Json:
    """Somebody came into a channel.

    Source: https://docs.slack.dev/reference/events/member_joined_channel
    """
    kinds = {"channel": "C", "group": "G", "im": "D"}
    return {
        "type": "member_joined_channel",
        "user": user,
        "channel": channel.id,
        "channel_type": kinds[channel.kind],
        "team": workspace.team_id,
        "event_ts": _event_stamp(workspace, channel),
    }


def url_verification(challenge: str) -> Json:
    """What the platform sends once to prove an events address.

    Source: https://docs.slack.dev/reference/events/url_verification
    """
    return {"token": _OLD_TOKEN, "challenge": challenge, "type": "url_verification"}


def envelope(workspace: Workspace, event: Json) -> Json:
    """The outer event. Redeliveries carry the same `event_id`."""
    return {
        "token": _OLD_TOKEN,
        "team_id": workspace.team_id,
        "context_team_id": workspace.team_id,
        "context_enterprise_id": None,
        "api_app_id": workspace.app_id,
        "event": event,
        "type": "event_callback",
        "event_id": workspace.make_id("Ev"),
        "event_time": workspace.clock() // 1000,
        "authorizations": [
            {
                "enterprise_id": None,
                "team_id": workspace.team_id,
                "user_id": workspace.bot_user,
                "is_bot": True,
                "is_enterprise_install": False,
            }
        ],
        "is_ext_shared_channel": False,
        "event_context": f"4-{workspace.app_id}",
    }


def _place(channel: Channel) -> Json:
    return {"channel": channel.id, "channel_type": _KINDS[channel.kind]}


def inner_events(workspace: Workspace, change: Change) -> list[Json]:
    """The inner events a change gives rise to, for an app that is in the channel."""
    channel, message = change.channel, change.message
    if change.kind == "posted":
        return _posted(workspace, change)
    if change.kind == "updated":
        return [_changed(workspace, change, message)]
    if change.kind == "deleted":
        if message.get("subtype") == "tombstone":
            return [_changed(workspace, change, message)]
        return [_deleted(workspace, change)]
    if change.kind in {"reacted", "unreacted"}:
        return [_reaction(workspace, change)]
    if change.kind in {"pinned", "unpinned"}:
        return [_pin(workspace, channel, change)]
    return []


def _posted(workspace: Workspace, change: Change) -> list[Json]:
    message = {**change.message, "event_ts": change.message["ts"]}
    events: list[Json] = [{**message, **_place(change.channel)}]
    mentioned = f"<@{workspace.bot_user}>" in str(message.get("text", ""))
    if mentioned and change.channel.kind != "im" and change.actor != workspace.bot_user:
        mention = {**message, "type": "app_mention", "channel": change.channel.id}
        events.append(mention)
    return events


def _event_stamp(workspace: Workspace, channel: Channel) -> str:
    return channel.next_stamp(workspace.clock())


def _changed(workspace: Workspace, change: Change, message: Json) -> Json:
    now = _event_stamp(workspace, change.channel)
    return {
        "type": "message",
        "subtype": "message_changed",
        "message": message,
        "previous_message": change.previous,
        **_place(change.channel),
        "hidden": True,
        "ts": now,
        "event_ts": now,
    }


def _deleted(workspace: Workspace, change: Change) -> Json:
    now = _event_stamp(workspace, change.channel)
    return {
        "type": "message",
        "subtype": "message_deleted",
        "previous_message": change.previous,
        "deleted_ts": change.message["ts"],
        **_place(change.channel),
        "hidden": True,
        "ts": now,
        "event_ts": now,
    }


def _reaction(workspace: Workspace, change: Change) -> Json:
    return {
        "type": "reaction_added" if change.kind == "reacted" else "reaction_removed",
        "user": change.actor,
        "reaction": change.name,
        "item": {"type": "message", "channel": change.channel.id, "ts": change.message["ts"]},
        "item_user": change.message.get("user"),
        "event_ts": _event_stamp(workspace, change.channel),
    }


def _pin(workspace: Workspace, channel: Channel, change: Change) -> Json:
    return {
        "type": "pin_added" if change.kind == "pinned" else "pin_removed",
        "user": change.actor,
        "channel_id": channel.id,
        "item": {"type": "message", "channel": channel.id, "message": change.message},
        "event_ts": _event_stamp(workspace, channel),
    }


def find_action(message: Json, action_id: str, block_id: str | None = None) -> Json | None:
    """The interactive element of a message with this action id, with its block id."""
    for block in message.get("blocks") or []:
        if block_id is not None and block.get("block_id") != block_id:
            continue
        elements = list(block.get("elements", [])) if block["type"] == "actions" else []
        if "accessory" in block:
            elements.append(block["accessory"])
        for element in elements:
            if element.get("action_id") == action_id:
                return {**element, "block_id": block["block_id"]}
    return None


_ACTED = ("action_id", "block_id", "type", "text", "value", "style", "url", "confirm")


def acted(element: Json, option: str | None, now: int) -> Json | None:
    """The action of an interaction: the element as pressed, stamped with `now` (ms).

    None when the element is a menu that has no such option.
    """
    action = {name: element[name] for name in _ACTED if name in element}
    action["action_ts"] = f"{now // 1000}.{now % 1000:03d}000"
    if element["type"] == "button":
        return action
    for offered in element["options"]:
        if offered["value"] == option:
            return {**action, "selected_option": offered}
    return None


def block_actions(
    workspace: Workspace,
    channel: Channel,
    message: Json,
    user: str,
    action: Json,
    response_url: str,
) -> Json:
    """The body of a press. `action` holds the element, its block and its stamp."""
    who = workspace.users[user]
    ephemeral = "ephemeral_to" in message
    container: Json = {
        "type": "message",
        "message_ts": message["ts"],
        "channel_id": channel.id,
        "is_ephemeral": ephemeral,
    }
    root = message.get("thread_ts")
    if root is not None:
        container["thread_ts"] = root
    body: Json = {
        "type": "block_actions",
        "user": {
            "id": user,
            "username": who.name.lower().replace(" ", "."),
            "name": who.name.lower().replace(" ", "."),
            "team_id": workspace.team_id,
        },
        "api_app_id": workspace.app_id,
        "token": _OLD_TOKEN,
        "container": container,
        "trigger_id": workspace.make_id("trigger."),
        "team": {"id": workspace.team_id, "domain": workspace.team_domain},
        "enterprise": None,
        "is_enterprise_install": False,
        "channel": {"id": channel.id, "name": _shown_name(channel)},
        "state": {"values": {}},
        "response_url": response_url,
        "actions": [action],
    }
    if not ephemeral:
        body["message"] = message
    return body


def _shown_name(channel: Channel) -> str:
    names = {"channel": channel.name, "group": "privategroup", "im": "directmessage"}
    return names[channel.kind]


def slash_command(
    workspace: Workspace, channel: Channel, user: str, command: str, text: str, response_url: str
) -> dict[str, str]:
    """The form fields of a slash command. It cannot carry a thread."""
    return {
        "token": _OLD_TOKEN,
        "team_id": workspace.team_id,
        "team_domain": workspace.team_domain,
        "channel_id": channel.id,
        "channel_name": _shown_name(channel),
        "user_id": user,
        "user_name": workspace.users[user].name.lower().replace(" ", "."),
        "command": command,
        "text": text,
        "api_app_id": workspace.app_id,
        "is_enterprise_install": "false",
        "response_url": response_url,
        "trigger_id": workspace.make_id("trigger."),
    }
