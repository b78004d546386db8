"""The stand-in's store: saved and taken over, and quick with thousands of posts."""

import json
import time

from bot.practice.chatserver import ChatServer
from bot.practice.chatserver.answers import Args
from bot.practice.chatserver.methods import METHODS, Call, Rules
from tests.practice.chatserver_kit import SECRET, Clock, actions, button, client_of, open_room


async def test_a_snapshot_is_taken_over_by_another_server() -> None:
    async with open_room() as room:
        root = await room.client.chat_postMessage(
            channel=room.channel, text="a", blocks=[actions(button())]
        )
        await room.client.chat_postMessage(channel=room.channel, text="b", thread_ts=root["ts"])
        await room.client.pins_add(channel=room.channel, timestamp=root["ts"])
        await room.client.chat_postMessage(channel=room.ana, text="private")
        room.chat.events_url = "http://127.0.0.1:1/chat"
        await room.chat.say(room.ana, room.channel, "nobody hears")
        saved = json.loads(json.dumps(room.chat.snapshot()))
        before = (
            room.chat.messages(room.channel),
            room.chat.thread(room.channel, root["ts"]),
            room.chat.pins(room.channel),
            room.chat.next_due(),
        )
    other = ChatServer(clock=Clock(), signing_secret=SECRET)
    other.restore(saved)
    after = (
        other.messages(room.channel),
        other.thread(room.channel, root["ts"]),
        other.pins(room.channel),
        other.next_due(),
    )
    assert after == before
    client = client_of(await other.start())
    try:
        posted = await client.chat_postMessage(channel=room.channel, text="c")
        assert posted["ts"] > before[0][-1]["ts"]
        opened = await client.conversations_open(users=room.ana)
        assert other.messages(opened["channel"]["id"])[0]["text"] == "private"
    finally:
        await other.stop()


def _posts(chat: ChatServer, channel: str, root: str, count: int) -> float:
    """Seconds of CPU for so many replies to one thread, with a page read after each tenth."""
    began = time.process_time()
    for number in range(count):
        call(chat, "chat.postMessage", channel=channel, text="a", thread_ts=root)
        if number % 10 == 0:
            call(chat, "conversations.replies", channel=channel, ts=root, limit=20)
            chat.workspace.take_changes()
    return time.process_time() - began


def call(chat: ChatServer, method: str, **args: object) -> dict[str, object]:
    given = Call(chat.workspace, Args(args), chat.api.scopes, chat.limits, Rules())
    return METHODS[method](given)


def test_five_thousand_posts_do_not_make_it_slow() -> None:
    chat = ChatServer(clock=Clock(), signing_secret=SECRET)
    chat.limits.on = False
    channel = chat.add_channel("wave-1")
    root = str(call(chat, "chat.postMessage", channel=channel, text="root")["ts"])
    _posts(chat, channel, root, 200)  # warm up
    first = _posts(chat, channel, root, 1000)
    _posts(chat, channel, root, 3000)
    last = _posts(chat, channel, root, 1000)
    assert len(chat.thread(channel, root)) == 5201
    # A scan of all messages in each call would make the last thousand many times slower.
    assert last < 3 * first + 0.05
