"""The platform's error words sorted.

Source: "Errors" of https://docs.slack.dev/reference/methods/chat.postMessage, chat.update,
conversations.open, conversations.replies and pins.add. What each asks of us is our reading.
"""

import pytest

from bot.practice.chatserver import ChatServer
from bot.send.chat import ChatOut
from bot.send.errors import (
    ChannelAway,
    EditRefused,
    InDoubt,
    MessageRefused,
    Passing,
    PersonAway,
    SendError,
    ThreadGone,
)
from bot.speak.render import Rendered

HELLO = Rendered("Hello.", [], {})


@pytest.mark.parametrize(
    ("word", "kind"),
    [
        ("invalid_blocks", MessageRefused),
        ("invalid_blocks_format", MessageRefused),
        ("msg_too_long", MessageRefused),
        ("no_text", MessageRefused),
        ("metadata_too_large", MessageRefused),
        ("msg_blocks_too_long", MessageRefused),
        ("invalid_arguments", MessageRefused),
        ("a_word_nobody_knows", MessageRefused),
        ("channel_not_found", ChannelAway),
        ("is_archived", ChannelAway),
        ("not_in_channel", ChannelAway),
        ("restricted_action", ChannelAway),
        ("account_inactive", ChannelAway),
        ("token_revoked", ChannelAway),
        ("invalid_auth", ChannelAway),
        ("missing_scope", ChannelAway),
        ("user_not_found", PersonAway),
        ("user_disabled", PersonAway),
        ("cannot_dm_bot", PersonAway),
        ("ratelimited", Passing),
        ("rate_limited", Passing),
        ("service_unavailable", Passing),
        ("request_timeout", Passing),
        ("internal_error", InDoubt),
        ("fatal_error", InDoubt),
        ("thread_not_found", ThreadGone),
        ("message_not_found", EditRefused),
        ("cant_update_message", EditRefused),
        ("edit_window_closed", EditRefused),
    ],
)
async def test_each_word_asks_for_what_it_means(
    server: ChatServer, chat: ChatOut, word: str, kind: type[SendError]
) -> None:
    server.faults.add("error", "chat.postMessage", error=word)
    with pytest.raises(SendError) as raised:
        await chat.post("C0WAVE0001", HELLO)
    assert type(raised.value) is kind
    assert raised.value.why == word or kind is Passing


@pytest.mark.parametrize(
    ("word", "everywhere"),
    [("token_revoked", True), ("missing_scope", True), ("is_archived", False)],
)
async def test_what_is_wrong_everywhere_says_so(
    server: ChatServer, chat: ChatOut, word: str, everywhere: bool
) -> None:
    server.faults.add("error", "chat.postMessage", error=word)
    with pytest.raises(ChannelAway) as raised:
        await chat.post("C0WAVE0001", HELLO)
    assert raised.value.everywhere is everywhere


async def test_reads_and_edits_in_doubt_are_simply_made_again(
    server: ChatServer, chat: ChatOut
) -> None:
    posted = await chat.post("C0WAVE0001", HELLO)
    for method in ("chat.update", "pins.add", "chat.delete"):
        server.faults.add("drop_after", method)
    # Twice: aiohttp itself makes a GET again on a connection that was kept open.
    server.faults.add("drop_after", "conversations.history", times=2)
    with pytest.raises(Passing) as edit:
        await chat.update("C0WAVE0001", posted.stamp, HELLO)
    assert edit.value.part == "edit"
    with pytest.raises(Passing):
        await chat.ours("C0WAVE0001")
    with pytest.raises(Passing) as pin:
        await chat.pin("C0WAVE0001", posted.stamp)
    assert pin.value.part == "pin"
    with pytest.raises(Passing):
        await chat.delete("C0WAVE0001", posted.stamp)
    await chat.delete("C0WAVE0001", posted.stamp)


async def test_done_already_is_done(server: ChatServer, chat: ChatOut) -> None:
    posted = await chat.post("C0WAVE0001", HELLO)
    await chat.pin("C0WAVE0001", posted.stamp)
    await chat.pin("C0WAVE0001", posted.stamp)
    await chat.delete("C0WAVE0001", posted.stamp)
    await chat.delete("C0WAVE0001", posted.stamp)
    assert server.messages("C0WAVE0001") == []
