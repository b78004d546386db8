"""The fixed answer: at once, with nothing but the chat."""

import pytest

from bot.practice.chatserver import ChatServer
from bot.practice.chatserver.faults import FaultKind
from bot.send import danger
from bot.send.chat import ChatOut
from bot.send.errors import ChannelAway, InDoubt
from bot.speak.catalogue import Catalogue

WAVE = "C0WAVE0001"
WORDS = "Step away. Call the emergency services. Touch nothing."


async def test_it_answers_in_the_thread_and_gives_the_stamp(
    server: ChatServer, chat: ChatOut, catalogue: Catalogue
) -> None:
    said = await server.say("U0MARA0001", WAVE, "there is smoke")
    stamp = await danger.answer(chat, catalogue, WAVE, said, ("en",))
    answered = server.thread(WAVE, said)[-1]
    assert (answered["ts"], answered["text"]) == (stamp, WORDS)


@pytest.mark.parametrize("kind", ["drop_before", "drop_after", "http_500", "rate_limit", "error"])
async def test_two_failures_in_a_row_do_not_stop_it(
    server: ChatServer, chat: ChatOut, catalogue: Catalogue, kind: FaultKind
) -> None:
    server.faults.add(kind, "chat.postMessage", times=2)
    stamp = await danger.answer(chat, catalogue, WAVE, "", ("xx",))
    assert server.messages(WAVE)[-1]["ts"] == stamp
    assert server.messages(WAVE)[-1]["text"] == WORDS


async def test_a_thread_that_is_gone_is_answered_in_the_channel(
    server: ChatServer, chat: ChatOut, catalogue: Catalogue
) -> None:
    await danger.answer(chat, catalogue, WAVE, "1.000001", ("en",))
    (posted,) = server.messages(WAVE)
    assert "thread_ts" not in posted


async def test_what_cannot_be_said_is_told_to_the_caller(
    server: ChatServer, chat: ChatOut, catalogue: Catalogue
) -> None:
    with pytest.raises(ChannelAway):
        await danger.answer(chat, catalogue, "C0NONE0001", "", ("en",))
    server.faults.add("drop_before", times=99)
    with pytest.raises(InDoubt):
        await danger.answer(chat, catalogue, WAVE, "", ("en",))


async def test_a_full_channel_is_no_reason_to_wait(
    server: ChatServer, chat: ChatOut, catalogue: Catalogue
) -> None:
    """The platform's own limit of a channel (a burst of five) is met by trying again."""
    server.faults.add("rate_limit", "chat.postMessage", retry_after=30)
    await danger.answer(chat, catalogue, WAVE, "", ("en",))
    assert len(server.messages(WAVE)) == 1


async def test_in_two_languages_it_is_one_message_with_both_texts(
    server: ChatServer, chat: ChatOut
) -> None:
    own = Catalogue.load()
    await danger.answer(chat, own, WAVE, "", ("de", "en"))
    (posted,) = server.messages(WAVE)
    texts = [own.best(lang).say("danger", {}) for lang in ("de", "en")]
    assert texts[0] != texts[1]
    assert posted["text"] == "\n\n".join(texts)
