"""conversations.*: reading channels and threads, opening direct conversations.

Source: https://docs.slack.dev/reference/methods/conversations.history, .replies, .info,
.members, .list, .join and .open ("Arguments", "Errors").
"""

from bot.practice.chatserver.answers import Json, Refused
from bot.practice.chatserver.methods.call import Call, cursor_at
from bot.practice.chatserver.state import Channel, micros_of, stamp, window

MOST = 999
MOST_REPLIES = 1000


def _bounds(call: Call) -> tuple[int | None, int | None]:
    oldest, latest = call.args.text("oldest"), call.args.text("latest")
    low = micros_of(oldest, "invalid_ts_oldest") if oldest else None
    high = micros_of(latest, "invalid_ts_latest") if latest else None
    return low, high


def _given(call: Call, message: Json) -> Json:
    """The message as given back: metadata only when asked for."""
    shown = dict(message)
    if not call.args.flag("include_all_metadata"):
        shown.pop("metadata", None)
    return shown


def _paged(answer: Json, *, end: int, total: int) -> Json:
    answer["has_more"] = end < total
    if end < total:
        answer["response_metadata"] = {"next_cursor": cursor_at(end)}
    return answer


def history(call: Call) -> Json:
    """Root messages, newest first."""
    channel = call.channel("history")
    call.member_of(channel)
    oldest, latest = _bounds(call)
    offset, limit = call.page(default=100, most=MOST)
    low, high = window(
        channel.roots, oldest=oldest, latest=latest, inclusive=call.args.flag("inclusive")
    )
    total = high - low
    end = min(total, offset + limit)
    chosen = [channel.roots[high - 1 - i] for i in range(offset, end)]
    messages = [_given(call, channel.messages[stamp(micros)]) for micros in chosen]
    answer: Json = {"ok": True, "messages": messages, "pin_count": len(channel.pins)}
    return _paged(answer, end=end, total=total)


def replies(call: Call) -> Json:
    """A thread, its root first, oldest first.

    `ts` may also name a reply ("a message in the thread"): then its whole thread comes.
    """
    channel = call.channel("history")
    call.member_of(channel)
    if channel.kind != "im" and not call.rules.bot_reads_threads:
        raise Refused("not_allowed_token_type")
    found = channel.messages.get(call.args.text("ts"))
    if found is None:
        raise Refused("thread_not_found")
    root = str(found.get("thread_ts", found["ts"]))
    oldest, latest = _bounds(call)
    offset, limit = call.page(default=MOST_REPLIES, most=MOST_REPLIES)
    stamps = channel.replies(root)
    inclusive = call.args.flag("inclusive")
    low, high = window(stamps, oldest=oldest, latest=latest, inclusive=inclusive)
    # The root comes with every page and limit counts the replies: from memory.
    end = min(high, low + offset + limit)
    chosen = [stamp(micros) for micros in stamps[low + offset : end]]
    messages = [_given(call, channel.messages[ts]) for ts in [root, *chosen]]
    return _paged({"ok": True, "messages": messages}, end=end - low, total=high - low)


def _described(call: Call, channel: Channel) -> Json:
    inside = call.workspace.bot_user in channel.members
    shown: Json = {
        "id": channel.id,
        "created": channel.created,
        "is_archived": channel.archived,
        "is_channel": channel.kind == "channel",
        "is_group": channel.kind == "group",
        "is_im": channel.kind == "im",
        "is_mpim": False,
        "is_private": channel.kind != "channel",
        "is_org_shared": False,
        "context_team_id": call.workspace.team_id,
    }
    if channel.kind == "im":
        return {**shown, "user": channel.with_user}
    return {
        **shown,
        "name": channel.name,
        "name_normalized": channel.name,
        "creator": channel.creator,
        "is_member": inside,
        "is_general": False,
    }


def info(call: Call) -> Json:
    channel = call.channel("read")
    shown = _described(call, channel)
    if call.args.flag("include_num_members"):
        shown["num_members"] = len(channel.members)
    return {"ok": True, "channel": shown}


def members(call: Call) -> Json:
    channel = call.channel("read")
    offset, limit = call.page(default=100, most=MOST)
    everyone = list(channel.members)
    end = min(len(everyone), offset + limit)
    answer: Json = {"ok": True, "members": everyone[offset:end]}
    cursor = cursor_at(end) if end < len(everyone) else ""
    return {**answer, "response_metadata": {"next_cursor": cursor}}


_TYPES = {"public_channel": "channel", "private_channel": "group", "im": "im", "mpim": "mpim"}


def list_all(call: Call) -> Json:
    wanted = call.args.text("types", "public_channel").replace(" ", "").split(",")
    if not set(wanted) <= _TYPES.keys():
        raise Refused("invalid_types")
    kinds = {_TYPES[word] for word in wanted}
    offset, limit = call.page(default=100, most=MOST)
    bot = call.workspace.bot_user
    found = [
        channel
        for channel in call.workspace.channels.values()
        if channel.kind in kinds
        and (channel.kind == "channel" or bot in channel.members)
        and not (channel.archived and call.args.flag("exclude_archived"))
    ]
    end = min(len(found), offset + limit)
    shown = [_described(call, channel) for channel in found[offset:end]]
    cursor = cursor_at(end) if end < len(found) else ""
    return {"ok": True, "channels": shown, "response_metadata": {"next_cursor": cursor}}


def join(call: Call) -> Json:
    channel = call.channel()
    if channel.kind != "channel":
        raise Refused("method_not_supported_for_channel_type")
    if channel.archived:
        raise Refused("is_archived")
    channel.members[call.workspace.bot_user] = None
    return {"ok": True, "channel": _described(call, channel)}


def open_dm(call: Call) -> Json:
    """A direct conversation with one person, made when there is none yet."""
    call.need_scope("im:write")
    if call.args.has("channel"):
        channel = call.channel()
        return {"ok": True, "no_op": True, "already_open": True, "channel": {"id": channel.id}}
    users = [user for user in call.args.text("users").split(",") if user]
    if not users:
        raise Refused("users_list_not_supplied")
    for user in users:
        call.workspace.user(user)
    if len(users) > 1:
        # Several people at once are allowed by the platform; the stand-in does not play it.
        raise Refused("method_not_supported_for_channel_type")
    return _open_with(call, users[0])


def _open_with(call: Call, user: str) -> Json:
    workspace = call.workspace
    if workspace.user(user).deleted:
        raise Refused("user_disabled")
    if user == workspace.bot_user:
        raise Refused("cannot_dm_bot")
    if call.args.flag("prevent_creation") and user not in workspace.dms:
        raise Refused("channel_not_found")
    known = user in workspace.dms
    channel = workspace.dm_with(user)
    shown: Json = {"id": channel.id}
    if call.args.flag("return_im"):
        shown = _described(call, channel)
    answer: Json = {"ok": True, "channel": shown}
    return {**answer, "no_op": True, "already_open": True} if known else answer
