"""Checks message blocks as the platform does, by its published limits.

Source: "Blocks", "Block elements" and "Composition objects" of
https://docs.slack.dev/reference/block-kit/blocks (one page per block below it).
"""

from collections.abc import Callable
from typing import Any

from bot.practice.chatserver.answers import Json, Refused

MOST_BLOCKS = 50
MOST_ACTIONS = 25
MOST_CONTEXT = 10
MOST_FIELDS = 10
SECTION_TEXT = 3000
FIELD_TEXT = 2000
HEADER_TEXT = 150
BUTTON_TEXT = 75
BUTTON_VALUE = 2000
ACTION_ID = 255
BLOCK_ID = 255
OPTION_TEXT = 75
OPTION_VALUE = 150
MOST_OPTIONS = 100
MOST_OVERFLOW = 5
URL = 3000
IMAGE_ALT = 2000
PLACEHOLDER = 150
MARKDOWN_TEXT = 12_000
# No page states it; refused from 13,172 to 13,297 characters on, as reported in
# https://github.com/slackapi/bolt-js/issues/2509.
MOST_WRITTEN = 13_000


class _Bad(Exception):
    """What is wrong, and where (a JSON pointer)."""


def _fail(where: str, what: str) -> None:
    raise _Bad(f"{what} [json-pointer:{where}]")


def _object(value: Any, where: str) -> Json:
    if not isinstance(value, dict):
        _fail(where, "must provide an object")
    return dict(value)


def _only(value: Json, where: str, *, need: set[str], may: set[str]) -> None:
    for name in sorted(need - value.keys()):
        _fail(where, f"missing required field: {name}")
    for name in sorted(value.keys() - need - may):
        _fail(where, f"invalid additional property: {name}")


def _string(value: Any, where: str, *, most: int, least: int = 1) -> str:
    if not isinstance(value, str):
        _fail(where, "must be a string")
    if len(value) > most:
        _fail(where, f"must be less than {most + 1} characters")
    if len(value) < least:
        _fail(where, f"must be more than {least - 1} characters")
    return str(value)


def _list(value: Any, where: str, *, most: int, least: int = 1) -> list[Any]:
    if not isinstance(value, list):
        _fail(where, "must be an array")
    if len(value) > most:
        _fail(where, f"no more than {most} items allowed")
    if len(value) < least:
        _fail(where, f"no fewer than {least} items allowed")
    return list(value)


def _text(value: Any, where: str, *, most: int, plain: bool = False) -> None:
    """A text object: plain_text (with emoji) or mrkdwn (with verbatim)."""
    text = _object(value, where)
    kind = text.get("type")
    if kind not in ({"plain_text"} if plain else {"plain_text", "mrkdwn"}):
        _fail(f"{where}/type", f"unsupported text type: {kind}")
    own = "emoji" if kind == "plain_text" else "verbatim"
    _only(text, where, need={"type", "text"}, may={own})
    if own in text and not isinstance(text[own], bool):
        _fail(f"{where}/{own}", "must be a boolean")
    _string(text["text"], f"{where}/text", most=most)


def _confirm(value: Any, where: str) -> None:
    confirm = _object(value, where)
    _only(confirm, where, need={"title", "text", "confirm", "deny"}, may={"style"})
    _text(confirm["title"], f"{where}/title", most=100, plain=True)
    _text(confirm["text"], f"{where}/text", most=300)
    _text(confirm["confirm"], f"{where}/confirm", most=30, plain=True)
    _text(confirm["deny"], f"{where}/deny", most=30, plain=True)
    _style(confirm, where)


def _style(value: Json, where: str) -> None:
    if "style" in value and value["style"] not in {"primary", "danger"}:
        _fail(f"{where}/style", "must be primary or danger")


def _action_id(value: Json, where: str) -> None:
    if "action_id" in value:
        _string(value["action_id"], f"{where}/action_id", most=ACTION_ID)


def _button(button: Json, where: str) -> None:
    may = {"action_id", "url", "value", "style", "confirm", "accessibility_label"}
    _only(button, where, need={"type", "text"}, may=may)
    _text(button["text"], f"{where}/text", most=BUTTON_TEXT, plain=True)
    if "value" in button:
        _string(button["value"], f"{where}/value", most=BUTTON_VALUE)
    if "url" in button:
        _string(button["url"], f"{where}/url", most=URL)
    if "accessibility_label" in button:
        _string(button["accessibility_label"], f"{where}/accessibility_label", most=75)
    _style(button, where)
    _finish_element(button, where)


def _finish_element(element: Json, where: str) -> None:
    _action_id(element, where)
    if "confirm" in element:
        _confirm(element["confirm"], f"{where}/confirm")


def _option(value: Any, where: str, *, plain: bool) -> None:
    option = _object(value, where)
    _only(option, where, need={"text", "value"}, may={"description", "url"})
    _text(option["text"], f"{where}/text", most=OPTION_TEXT, plain=plain)
    _string(option["value"], f"{where}/value", most=OPTION_VALUE)
    if "description" in option:
        _text(option["description"], f"{where}/description", most=75, plain=plain)


def _static_select(select: Json, where: str) -> None:
    may = {"action_id", "placeholder", "initial_option", "confirm", "focus_on_load"}
    _only(select, where, need={"type", "options"}, may=may)
    _options(select["options"], f"{where}/options", most=MOST_OPTIONS, plain=True)
    if "placeholder" in select:
        _text(select["placeholder"], f"{where}/placeholder", most=PLACEHOLDER, plain=True)
    if "initial_option" in select and select["initial_option"] not in select["options"]:
        _fail(f"{where}/initial_option", "must match one of the options")
    _finish_element(select, where)


def _overflow(overflow: Json, where: str) -> None:
    _only(overflow, where, need={"type", "options"}, may={"action_id", "confirm"})
    _options(overflow["options"], f"{where}/options", most=MOST_OVERFLOW, plain=True)
    _finish_element(overflow, where)


def _options(value: Any, where: str, *, most: int, plain: bool) -> None:
    for number, option in enumerate(_list(value, where, most=most)):
        _option(option, f"{where}/{number}", plain=plain)


def _image_element(image: Json, where: str) -> None:
    _only(image, where, need={"type", "image_url", "alt_text"}, may=set())
    _string(image["image_url"], f"{where}/image_url", most=URL)
    _string(image["alt_text"], f"{where}/alt_text", most=IMAGE_ALT)


_INTERACTIVE: dict[str, Callable[[Json, str], None]] = {
    "button": _button,
    "static_select": _static_select,
    "overflow": _overflow,
}


def _element(value: Any, where: str, *, image: bool) -> None:
    element = _object(value, where)
    kind = element.get("type")
    check = _INTERACTIVE.get(str(kind))
    if check is None and image and kind == "image":
        check = _image_element
    if check is None:
        _fail(f"{where}/type", f"unsupported type: {kind}")
        return
    check(element, where)


def _section(block: Json, where: str) -> None:
    _only(block, where, need={"type"}, may={"block_id", "text", "fields", "accessory", "expand"})
    if "text" not in block and "fields" not in block:
        _fail(where, "missing required field: text")
    if "text" in block:
        _text(block["text"], f"{where}/text", most=SECTION_TEXT)
    if "fields" in block:
        for number, field in enumerate(_list(block["fields"], f"{where}/fields", most=MOST_FIELDS)):
            _text(field, f"{where}/fields/{number}", most=FIELD_TEXT)
    if "accessory" in block:
        _element(block["accessory"], f"{where}/accessory", image=True)


def _header(block: Json, where: str) -> None:
    _only(block, where, need={"type", "text"}, may={"block_id", "level"})
    _text(block["text"], f"{where}/text", most=HEADER_TEXT, plain=True)


def _actions(block: Json, where: str) -> None:
    _only(block, where, need={"type", "elements"}, may={"block_id"})
    elements = _list(block["elements"], f"{where}/elements", most=MOST_ACTIONS)
    for number, element in enumerate(elements):
        _element(element, f"{where}/elements/{number}", image=False)
    _unique(elements, "action_id", f"{where}/elements")


def _unique(values: list[Any], name: str, where: str) -> None:
    seen: set[str] = set()
    for number, value in enumerate(values):
        key = value.get(name)
        if key is not None and key in seen:
            _fail(f"{where}/{number}/{name}", f"{name} already exists: {key}")
        seen.add(key)


def _context(block: Json, where: str) -> None:
    _only(block, where, need={"type", "elements"}, may={"block_id"})
    elements = _list(block["elements"], f"{where}/elements", most=MOST_CONTEXT)
    for number, value in enumerate(elements):
        inner = f"{where}/elements/{number}"
        element = _object(value, inner)
        if element.get("type") == "image":
            _image_element(element, inner)
        else:
            _text(element, inner, most=SECTION_TEXT)


def _divider(block: Json, where: str) -> None:
    _only(block, where, need={"type"}, may={"block_id"})


def _image(block: Json, where: str) -> None:
    _only(block, where, need={"type", "image_url", "alt_text"}, may={"block_id", "title"})
    _string(block["image_url"], f"{where}/image_url", most=URL)
    _string(block["alt_text"], f"{where}/alt_text", most=IMAGE_ALT)
    if "title" in block:
        _text(block["title"], f"{where}/title", most=2000, plain=True)


def _markdown(block: Json, where: str) -> None:
    _only(block, where, need={"type", "text"}, may={"block_id"})
    _string(block["text"], f"{where}/text", most=MARKDOWN_TEXT)


def written(value: Any) -> int:
    """Characters written in blocks, wherever they stand."""
    if isinstance(value, dict):
        own = len(value["text"]) if isinstance(value.get("text"), str) else 0
        return own + sum(written(inner) for inner in value.values())
    if isinstance(value, list):
        return sum(written(inner) for inner in value)
    return 0


_BLOCKS: dict[str, Callable[[Json, str], None]] = {
    "section": _section,
    "header": _header,
    "actions": _actions,
    "context": _context,
    "divider": _divider,
    "image": _image,
    "markdown": _markdown,
}


def check_blocks(value: Any) -> list[Json]:
    """The blocks, when the platform would take them; else `invalid_blocks` with the place.

    Raises Refused: `invalid_blocks_format` when it is no list of objects at all,
    `invalid_blocks` for any limit, unknown field or unknown type.
    """
    if not isinstance(value, list) or not all(isinstance(block, dict) for block in value):
        raise Refused("invalid_blocks_format")
    try:
        _check_all(value)
    except _Bad as bad:
        raise Refused("invalid_blocks", str(bad)) from None
    return [dict(block) for block in value]


def _check_all(blocks: list[Json]) -> None:
    _list(blocks, "/blocks", most=MOST_BLOCKS, least=0)
    for number, block in enumerate(blocks):
        where = f"/blocks/{number}"
        check = _BLOCKS.get(str(block.get("type")))
        if check is None:
            _fail(f"{where}/type", f"unsupported type: {block.get('type')}")
            return
        if "block_id" in block:
            _string(block["block_id"], f"{where}/block_id", most=BLOCK_ID)
        check(block, where)
    _unique(blocks, "block_id", "/blocks")
    if written(blocks) > MOST_WRITTEN:
        raise Refused("msg_blocks_too_long")


def complete_blocks(blocks: list[Json], make_id: Callable[[], str]) -> list[Json]:
    """Blocks as the platform gives them back: every block and element has an id."""
    return [_complete(block, make_id) for block in blocks]


def _complete(block: Json, make_id: Callable[[], str]) -> Json:
    done: Json = {**block}
    done.setdefault("block_id", make_id())
    if "elements" in block and block["type"] == "actions":
        done["elements"] = [_complete_element(e, make_id) for e in block["elements"]]
    if "accessory" in block:
        done["accessory"] = _complete_element(block["accessory"], make_id)
    return done


def _complete_element(element: Json, make_id: Callable[[], str]) -> Json:
    if element["type"] == "image":
        return element
    return {"action_id": make_id(), **element}
