"""pins.*: at most 100 in a channel.

Source: https://docs.slack.dev/reference/methods/pins.add, pins.remove and pins.list.
"""

from bot.practice.chatserver.answers import Json, Refused
from bot.practice.chatserver.methods.call import Call
from bot.practice.chatserver.state import Change, Channel, micros_of

MOST_PINS = 100


def _item(call: Call) -> tuple[Channel, Json]:
    channel = call.channel()
    ts = call.args.text("timestamp")
    if not ts:
        raise Refused("no_item_specified")
    micros_of(ts, "bad_timestamp")
    call.member_of(channel)
    return channel, channel.message(ts)


def add(call: Call) -> Json:
    channel, message = _item(call)
    ts = message["ts"]
    if ts in channel.pins:
        raise Refused("already_pinned")
    if message.get("subtype") == "tombstone":
        raise Refused("not_pinnable")
    if len(channel.pins) >= MOST_PINS:
        # The page names the error; the number is from memory of the help centre.
        raise Refused("too_many_pins")
    by = call.workspace.bot_user
    channel.pins[ts] = {"created": call.workspace.clock() // 1000, "created_by": by}
    message["pinned_to"] = [channel.id]
    call.workspace.note(Change("pinned", channel, dict(message), by))
    return {"ok": True}


def remove(call: Call) -> Json:
    channel, message = _item(call)
    call.workspace.unpin(channel, message["ts"], call.workspace.bot_user)
    return {"ok": True}


def list_all(call: Call) -> Json:
    """Newest pin first."""
    channel = call.channel()
    items = [
        {
            "type": "message",
            "channel": channel.id,
            "message": dict(channel.messages[ts]),
            **pin,
        }
        for ts, pin in reversed(channel.pins.items())
    ]
    return {"ok": True, "items": items}
