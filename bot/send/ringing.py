"""What a webhook tells of a call or a test: one sentence to read out, and plain data beside it."""

from collections.abc import Mapping
from typing import Any

from bot.model.message import Message
from bot.press_links import LASTS, Press, PressLinks

#: Which event a text becomes. Its name is behind the settings' prefix.
KINDS: Mapping[str, str] = {
    "call_hook": "call.raised",
    "wave_call_hook": "call.raised",
    "call_over_hook": "call.over",
    "wave_call_over_hook": "call.over",
    "way_test_hook": "way.test",
}


def link_of(message: Message, links: PressLinks | None) -> str:
    """The link that stands for the message's button; empty where it has none for anybody."""
    if links is None or not message.to or not message.buttons:
        return ""
    way = f"webhook:{target_of(message)}" if message.way == "webhook" else message.way
    until = message.made_at + LASTS
    press = Press(message.id, message.buttons[0].action, message.to, way, until)
    return links.url(press)


def target_of(message: Message) -> str:
    """The webhook's name: threads of this way are called ``hook:NAME:...``."""
    return message.thread.split(":", 2)[1]


def data_of(message: Message, say: str, press: str, person: Mapping[str, str]) -> dict[str, Any]:
    """The event's data. ``say`` is what a voice may read out; ``press`` opens our page."""
    args, kind = message.args, KINDS[message.template]
    data: dict[str, Any] = {"say": say, "person": {"user": message.to, **person}}
    if kind == "way.test":
        data["test"] = message.buttons[0].action.split(":")[1]
    else:
        place = message.thread.split(":")[3]
        data |= {
            "call": f"{args['wave']}/{place}/{args['call']}",
            "wave": args["wave"],
            "site": args.get("site", ""),
            "severity": args["severity"].removeprefix("@x:severity_"),
            "cause": args["cause"].removeprefix("@x:cause_"),
        }
    if press and kind != "call.over":
        data["press"] = press
    return data
