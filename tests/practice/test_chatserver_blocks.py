"""Blocks: each limit at its edge, one over it, and whatever the platform does not know.

Source of the numbers: the page of each block, element and object below
https://docs.slack.dev/reference/block-kit/ ("Fields").
"""

from collections.abc import AsyncIterator
from typing import Any

import pytest
from slack_sdk.models import blocks as models

from bot.practice.chatserver import blocks as ours
from bot.practice.chatserver.answers import Refused
from bot.practice.chatserver.blocks import check_blocks
from tests.practice.chatserver_kit import Room, actions, button, open_room, refused, section

Json = dict[str, Any]


def plain(text: str = "a", **fields: Any) -> Json:
    return {"type": "plain_text", "text": text, **fields}


def mrkdwn(text: str = "a", **fields: Any) -> Json:
    return {"type": "mrkdwn", "text": text, **fields}


def header(text: Json) -> Json:
    return {"type": "header", "text": text}


def context(*elements: Json) -> Json:
    return {"type": "context", "elements": list(elements)}


def option(value: str = "1", **fields: Any) -> Json:
    return {"text": plain(), "value": value, **fields}


def select(*options: Json, **fields: Any) -> Json:
    return {"type": "static_select", "options": list(options), "action_id": "s", **fields}


def overflow(*options: Json) -> Json:
    return {"type": "overflow", "options": list(options), "action_id": "o"}


IMAGE = {"type": "image", "image_url": "https://example.org/a.png", "alt_text": "the light"}
CONFIRM = {"title": plain(), "text": plain(), "confirm": plain(), "deny": plain()}
DIVIDER = {"type": "divider"}

GOOD: list[tuple[str, list[Json]]] = [
    ("no blocks", []),
    ("50 blocks", [DIVIDER] * 50),
    ("section text 3000", [section("x" * 3000)]),
    ("section fields 10 of 1000", [{"type": "section", "fields": [mrkdwn("x" * 1000)] * 10}]),
    ("section field 2000", [{"type": "section", "fields": [mrkdwn("x" * 2000)]}]),
    ("section with button", [section(accessory=button())]),
    ("section with image", [section(accessory=IMAGE)]),
    ("header 150", [header(plain("x" * 150))]),
    ("header with emoji", [header(plain(emoji=True))]),
    ("verbatim", [section(), {"type": "section", "text": mrkdwn(verbatim=True)}]),
    ("25 buttons", [actions(*(button(f"b{n}") for n in range(25)))]),
    ("button text 75", [actions(button(text=plain("x" * 75)))]),
    ("button value 2000", [actions(button(value="x" * 2000))]),
    ("action id 255", [actions(button("x" * 255))]),
    ("block id 255", [actions(button(), block_id="x" * 255)]),
    ("button with confirm", [actions(button(confirm=CONFIRM, style="danger"))]),
    ("button with address", [actions(button(url="https://example.org"))]),
    ("same action id in two blocks", [actions(button()), actions(button())]),
    ("select", [actions(select(option()))]),
    ("select 100", [actions(select(*(option(str(n)) for n in range(100))))]),
    ("overflow 5", [actions(overflow(*(option(str(n)) for n in range(5))))]),
    ("context 10", [context(*[mrkdwn()] * 9, IMAGE)]),
    ("image block", [{**IMAGE, "title": plain()}]),
    ("markdown 12000", [{"type": "markdown", "text": "x" * 12_000}]),
]

BAD: list[tuple[str, list[Json]]] = [
    ("51 blocks", [DIVIDER] * 51),
    ("unknown block", [{"type": "banner"}]),
    ("block without type", [{"text": plain()}]),
    ("input in a message", [{"type": "input", "label": plain(), "element": {}}]),
    ("section text 3001", [section("x" * 3001)]),
    ("section text empty", [section("")]),
    ("section without text", [{"type": "section"}]),
    ("section fields 11", [{"type": "section", "fields": [mrkdwn()] * 11}]),
    ("section field 2001", [{"type": "section", "fields": [mrkdwn("x" * 2001)]}]),
    ("section unknown field", [section(colour="red")]),
    ("section text is a string", [{"type": "section", "text": "a"}]),
    ("text type unknown", [{"type": "section", "text": {"type": "html", "text": "a"}}]),
    ("text is a number", [{"type": "section", "text": mrkdwn(1)}]),  # type: ignore[arg-type]
    ("text unknown field", [{"type": "section", "text": mrkdwn(bold=True)}]),
    ("emoji in mrkdwn", [{"type": "section", "text": mrkdwn(emoji=True)}]),
    ("verbatim in plain text", [header(plain(verbatim=True))]),
    ("emoji not a boolean", [header(plain(emoji="yes"))]),
    ("header 151", [header(plain("x" * 151))]),
    ("header in mrkdwn", [header(mrkdwn())]),
    ("header without text", [{"type": "header"}]),
    ("actions empty", [actions()]),
    ("actions without elements", [{"type": "actions"}]),
    ("actions elements no list", [{"type": "actions", "elements": button()}]),
    ("26 buttons", [actions(*(button(f"b{n}") for n in range(26)))]),
    ("image in actions", [actions(IMAGE)]),
    ("unknown element", [actions({"type": "slider", "action_id": "a"})]),
    ("element is a string", [actions("button")]),  # type: ignore[arg-type]
    ("same action id in one block", [actions(button(), button())]),
    ("button text 76", [actions(button(text=plain("x" * 76)))]),
    ("button in mrkdwn", [actions(button(text=mrkdwn()))]),
    ("button value 2001", [actions(button(value="x" * 2001))]),
    ("button value a number", [actions(button(value=1))]),
    ("button style unknown", [actions(button(style="warning"))]),
    ("button address 3001", [actions(button(url="x" * 3001))]),
    ("button unknown field", [actions(button(colour="red"))]),
    ("action id 256", [actions(button("x" * 256))]),
    ("action id empty", [actions(button(""))]),
    ("block id 256", [actions(button(), block_id="x" * 256)]),
    ("same block id twice", [actions(button(), block_id="a"), section(block_id="a")]),
    ("confirm without text", [actions(button(confirm={**CONFIRM, "text": None}))]),
    ("confirm title 101", [actions(button(confirm={**CONFIRM, "title": plain("x" * 101)}))]),
    ("select without options", [actions(select())]),
    ("select 101", [actions(select(*(option(str(n)) for n in range(101))))]),
    ("option text 76", [actions(select({"text": plain("x" * 76), "value": "1"}))]),
    ("option value 151", [actions(select(option("x" * 151)))]),
    ("initial option not offered", [actions(select(option(), initial_option=option("2")))]),
    ("placeholder 151", [actions(select(option(), placeholder=plain("x" * 151)))]),
    ("overflow 6", [actions(overflow(*(option(str(n)) for n in range(6))))]),
    ("context 11", [context(*[mrkdwn()] * 11)]),
    ("context with a button", [context(button())]),
    ("image without alt text", [{"type": "image", "image_url": "https://example.org/a.png"}]),
    ("markdown 12001", [{"type": "markdown", "text": "x" * 12_001}]),
    ("divider with text", [{**DIVIDER, "text": plain()}]),
]


@pytest.mark.parametrize("blocks", [b for _, b in GOOD], ids=[name for name, _ in GOOD])
def test_taken(blocks: list[Json]) -> None:
    assert check_blocks(blocks) == blocks


@pytest.mark.parametrize("blocks", [b for _, b in BAD], ids=[name for name, _ in BAD])
def test_refused(blocks: list[Json]) -> None:
    with pytest.raises(Refused) as caught:
        check_blocks(blocks)
    assert caught.value.error == "invalid_blocks"
    assert "[json-pointer:/blocks" in caught.value.messages[0]


@pytest.mark.parametrize("blocks", [{}, "a", [1], [[]]])
def test_what_is_no_list_of_objects_has_an_error_of_its_own(blocks: object) -> None:
    with pytest.raises(Refused) as caught:
        check_blocks(blocks)
    assert caught.value.error == "invalid_blocks_format"


def test_too_much_text_in_all_blocks_together() -> None:
    # No page states it; reported in https://github.com/slackapi/bolt-js/issues/2509.
    with pytest.raises(Refused) as caught:
        check_blocks([section("x" * 2700)] * 5)
    assert caught.value.error == "msg_blocks_too_long"


@pytest.mark.parametrize(
    ("mine", "theirs"),
    [
        (ours.MOST_ACTIONS, models.ActionsBlock.elements_max_length),
        (ours.MOST_CONTEXT, models.ContextBlock.elements_max_length),
        (ours.HEADER_TEXT, models.HeaderBlock.text_max_length),
        (ours.MOST_FIELDS, models.SectionBlock.fields_max_length),
        (ours.BLOCK_ID, models.Block.block_id_max_length),
        (ours.BUTTON_TEXT, models.ButtonElement.text_max_length),
        (ours.BUTTON_VALUE, models.ButtonElement.value_max_length),
        (ours.ACTION_ID, models.InteractiveElement.action_id_max_length),
        (ours.MOST_OPTIONS, models.StaticSelectElement.options_max_length),
        (ours.MOST_OVERFLOW, models.OverflowMenuElement.options_max_length),
        (ours.OPTION_TEXT, models.Option.label_max_length),
    ],
)
def test_the_limits_agree_with_the_platforms_own_client(mine: int, theirs: int) -> None:
    assert mine == theirs


@pytest.fixture
async def room() -> AsyncIterator[Room]:
    async with open_room() as opened:
        yield opened


async def test_the_answer_says_where_the_block_is_wrong(room: Room) -> None:
    blocks = [section(), actions(button(), button("b", value="x" * 2001))]
    call = room.client.chat_postMessage(channel=room.channel, text="a", blocks=blocks)
    answer = await refused(call)
    assert answer["error"] == "invalid_blocks"
    (message,) = answer["response_metadata"]["messages"]
    assert message.endswith("[json-pointer:/blocks/1/elements/1/value]")
    assert room.chat.messages(room.channel) == []


async def test_an_edit_is_checked_as_well(room: Room) -> None:
    root = await room.client.chat_postMessage(channel=room.channel, text="a")
    call = room.client.chat_update(
        channel=room.channel, ts=root["ts"], text="b", blocks=[{"type": "banner"}]
    )
    assert (await refused(call))["error"] == "invalid_blocks"
    assert room.chat.messages(room.channel)[0]["text"] == "a"
