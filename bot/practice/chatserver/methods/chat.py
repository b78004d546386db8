"""chat.*: posting, editing, deleting.

Source: https://docs.slack.dev/reference/methods/chat.postMessage, chat.postEphemeral,
chat.update, chat.delete and chat.getPermalink ("Arguments", "Errors").
"""

import json
import re
from functools import partial
from typing import Any

from bot.practice.chatserver.answers import Args, Json, Refused
from bot.practice.chatserver.blocks import MARKDOWN_TEXT, check_blocks, complete_blocks
from bot.practice.chatserver.methods.call import Call
from bot.practice.chatserver.state import Change, Channel, Workspace

# The page says that longer texts are cut; the stand-in refuses, so that it shows.
MOST_TEXT = 40_000
# No page states it; an edit is refused from about 4,000 characters on, as reported in
# https://github.com/seratch/ChatGPT-in-Slack/issues/102 and
# https://github.com/F3-Nation/archive-slackblast/issues/64.
MOST_EDIT = 4_000
MOST_ATTACHMENTS = 100
# The page of message metadata states no number for `metadata_too_large`; 12 kB is our choice.
MOST_METADATA = 12_000

_STAMP = re.compile(r"\d{10}\.\d{6}")


def content_of(args: Args, workspace: Workspace, *, most: int = MOST_TEXT) -> Json:
    """Text, blocks and attachments of a message, checked."""
    text = args.text("text")
    content: Json = {"text": text}
    if len(text) > most:
        raise Refused("msg_too_long")
    if args.has("markdown_text"):
        if text or args.has("blocks"):
            raise Refused("markdown_text_conflict")
        content["text"] = args.text("markdown_text")
        if len(content["text"]) > MARKDOWN_TEXT:
            raise Refused("msg_too_long")
    if args.has("blocks"):
        blocks = check_blocks(args.structure("blocks", "invalid_blocks_format"))
        content["blocks"] = complete_blocks(blocks, partial(workspace.make_id, "blk"))
    if args.has("attachments"):
        content["attachments"] = _attachments(args)
    return content


def _attachments(args: Args) -> list[Json]:
    value = args.structure("attachments", "invalid_attachments")
    if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
        raise Refused("invalid_attachments")
    if len(value) > MOST_ATTACHMENTS:
        raise Refused("too_many_attachments")
    return value


def _metadata(call: Call) -> Json | None:
    """Message metadata: `event_type` and a flat-keyed `event_payload`.

    Source: "Message metadata", https://docs.slack.dev/messaging/message-metadata
    """
    if not call.args.has("metadata"):
        return None
    value = call.args.structure("metadata", "invalid_metadata_format")
    if not isinstance(value, dict):
        raise Refused("invalid_metadata_format")
    if value:
        _check_metadata(value)
    return value


def _check_metadata(value: dict[str, Any]) -> None:
    if not isinstance(value.get("event_type"), str) or not value["event_type"]:
        raise Refused("invalid_metadata_format")
    if not isinstance(value.get("event_payload"), dict):
        raise Refused("invalid_metadata_format")
    if value.keys() - {"event_type", "event_payload", "entities"}:
        raise Refused("invalid_metadata_format")
    if len(json.dumps(value)) > MOST_METADATA:
        raise Refused("metadata_too_large")


def _need_content(content: Json) -> None:
    if not (content["text"] or content.get("blocks") or content.get("attachments")):
        raise Refused("no_text")


def _destination(call: Call) -> Channel:
    """A channel by id or name, or a person, whose conversation with the bot it then is."""
    wanted = call.args.text("channel")
    workspace = call.workspace
    if wanted in workspace.users:
        return _dm(call, wanted)
    named = workspace.names.get(wanted.removeprefix("#"))
    channel = workspace.channel(named or wanted)
    if channel.archived:
        raise Refused("is_archived")
    inside = workspace.bot_user in channel.members
    if not inside and not (channel.kind == "channel" and "chat:write.public" in call.scopes):
        raise Refused("not_in_channel")
    return channel


def _dm(call: Call, user: str) -> Channel:
    if call.workspace.user(user).deleted or user == call.workspace.bot_user:
        raise Refused("channel_not_found")
    return call.workspace.dm_with(user)


def _root(call: Call, channel: Channel) -> str | None:
    """The root of the thread to post in, None for the channel itself.

    The page lists no error for a `thread_ts` that names nothing. The platform is reported to
    post such a reply at the root of the channel, without a word but with no `thread_ts` in
    its answer (https://github.com/slack-go/slack/issues/1571); a value that is no stamp is
    `invalid_thread_ts`. A strict stand-in refuses the first too, as `thread_not_found`, so
    that a wrong stamp shows. A reply's own stamp leads to its root, as the page's "Avoid
    using a reply's ts value; use its parent instead" warns.
    """
    wanted = call.args.text("thread_ts")
    if not wanted:
        return None
    if not _STAMP.fullmatch(wanted):
        raise Refused("invalid_thread_ts", f"{wanted} is not a valid thread_ts")
    found = channel.messages.get(wanted)
    if found is not None:
        return str(found.get("thread_ts", wanted))
    if call.rules.refuse_unknown_thread:
        raise Refused("thread_not_found")
    return None


def _as_bot(call: Call, content: Json) -> Json:
    message: Json = {**call.workspace.as_bot(), **content}
    for name in ("username", "icon_emoji", "icon_url"):
        if call.args.has(name):
            call.need_scope("chat:write.customize")
            message[name] = call.args.text(name)
    return message


def post_message(call: Call) -> Json:
    channel = _destination(call)
    call.limits.post(channel.id)
    content = content_of(call.args, call.workspace)
    _need_content(content)
    root = _root(call, channel)
    message = _as_bot(call, content)
    metadata = _metadata(call)
    if metadata:
        message["metadata"] = metadata
    if root is not None:
        message["thread_ts"] = root
        if call.args.flag("reply_broadcast"):
            message.update(subtype="thread_broadcast", root={"ts": root})
    posted = call.workspace.post(channel, message, call.workspace.bot_user)
    return {"ok": True, "channel": channel.id, "ts": posted["ts"], "message": dict(posted)}


def post_ephemeral(call: Call) -> Json:
    channel = _destination(call)
    content = content_of(call.args, call.workspace)
    _need_content(content)
    user = call.args.text("user")
    if user not in channel.members:
        raise Refused("user_not_in_channel")
    message = _as_bot(call, content)
    root = _root(call, channel)
    if root is not None:
        message["thread_ts"] = root
    # A later call cannot find it again: chat.update and chat.delete do not know its stamp.
    message["ts"] = channel.next_stamp(call.workspace.clock())
    message["ephemeral_to"] = user
    channel.ephemeral[message["ts"]] = message
    call.workspace.note(Change("ephemeral", channel, dict(message), call.workspace.bot_user))
    return {"ok": True, "message_ts": message["ts"]}


def _own(call: Call, error: str) -> tuple[Channel, Json]:
    channel = call.channel()
    message = channel.message(call.args.text("ts"))
    if message.get("bot_id") != call.workspace.bot_id:
        raise Refused(error)
    return channel, message


def update(call: Call) -> Json:
    """Edit one of the app's own messages.

    Blocks left out are kept only when `text` is left out too; text without blocks removes
    them. Metadata left out is kept; an empty object removes it. The `edited` mark is set
    only when the message is shown by its text.
    """
    channel, message = _own(call, "cant_update_message")
    if channel.archived:
        raise Refused("is_inactive")
    content = content_of(call.args, call.workspace, most=MOST_EDIT)
    fields: Json = {}
    if content["text"]:
        fields["text"] = content["text"]
        fields["blocks"] = None
    if "blocks" in content:
        fields["blocks"] = content["blocks"] or None
    if "attachments" in content:
        fields["attachments"] = content["attachments"] or None
    if not fields:
        raise Refused("no_text")
    after = {**message, **fields}
    _need_content({**after, "text": after.get("text") or ""})
    metadata = _metadata(call)
    if metadata is not None:
        fields["metadata"] = metadata or None
    if not after.get("blocks"):
        stamp = f"{call.workspace.clock() // 1000}.000000"
        fields["edited"] = {"user": call.workspace.bot_user, "ts": stamp}
    changed = call.workspace.change(channel, message["ts"], fields, call.workspace.bot_user)
    return {
        "ok": True,
        "channel": channel.id,
        "ts": changed["ts"],
        "text": changed["text"],
        "message": dict(changed),
    }


def delete(call: Call) -> Json:
    channel, message = _own(call, "cant_delete_message")
    call.workspace.delete(channel, message["ts"], call.workspace.bot_user)
    return {"ok": True, "channel": channel.id, "ts": call.args.text("ts")}


def get_permalink(call: Call) -> Json:
    channel = call.channel()
    message = channel.message(call.args.text("message_ts"))
    ts = str(message["ts"])
    link = f"https://{call.workspace.team_domain}.example.org/archives/{channel.id}/p"
    link += ts.replace(".", "")
    root = message.get("thread_ts")
    if root is not None and root != ts:
        link += f"?thread_ts={root}&cid={channel.id}"
    return {"ok": True, "channel": channel.id, "permalink": link}
