"""The sender on real parts: order, pace, what is dropped, what is edited in place."""

import asyncio
from typing import Any

import msgspec
import pytest

from bot.model.fact import AnyFact, Delivered, Told
from bot.model.message import BOARD, ESCALATION, NUDGE, Button, Message
from bot.model.subject import Subject, of_wave
from bot.send.chat import ChatOut
from bot.send.leases import ChannelLeases
from bot.send.pacing import Pacing
from bot.send.sender import SenderSettings
from bot.speak.catalogue import Catalogue
from bot.store import keys
from bot.store.errors import StoreAway, StoreRefused
from tests.send.conftest import HOME, START, VISIT, Bench, message

WAVE = "C0WAVE0001"
CALLS = "C0CALLS001"


async def test_a_thread_keeps_its_order_and_hangs_below_its_root(
    bench: Bench, catalogue: Catalogue
) -> None:
    await bench.queue(message(0, root=True), *(message(n) for n in range(1, 6)))
    assert await bench.drain(bench.sender(catalogue)) == 6
    root, *replies = bench.server.messages(WAVE)
    assert bench.texts() == [f"Hello no. {n}." for n in range(6)]
    assert "thread_ts" not in root or root["thread_ts"] == root["ts"]
    assert {reply["thread_ts"] for reply in replies} == {root["ts"]}
    info = await bench.store.thread_info(HOME, "site:alder-green")
    assert (info.channel, info.root) == (WAVE, root["ts"])


async def test_what_is_delivered_is_told_to_the_desk_with_its_place(
    bench: Bench, catalogue: Catalogue
) -> None:
    await bench.queue(message(1))
    await bench.drain(bench.sender(catalogue))
    (fact,) = bench.desk.delivered
    (posted,) = bench.server.messages(WAVE)
    assert fact.id == f"sent:{VISIT}:7:1:0"
    assert fact.subject == VISIT
    assert (fact.channel, fact.stamp) == (WAVE, posted["ts"])
    assert fact.received_at == START
    assert await bench.store.waiting(HOME) == 0


async def test_the_urgent_goes_first(bench: Bench, catalogue: Catalogue) -> None:
    order: list[str] = []
    bench.server.on_post.append(
        lambda posted: order.append(posted.message["text"]) if posted.kind == "posted" else None
    )
    await bench.queue(
        message(1, "wave", urgency=BOARD),
        message(2, "site:beck", urgency=NUDGE),
        message(3, "site:cole"),
        message(4, "esc:alder-green", urgency=ESCALATION),
    )
    one_at_a_time = SenderSettings(lease=1000, parallel=1, parallel_calls=0)
    await bench.drain(bench.sender(catalogue, settings=one_at_a_time))
    assert order == ["Hello no. 4.", "Hello no. 3.", "Hello no. 2.", "Hello no. 1."]


async def test_forty_threads_never_meet_the_platforms_limit(
    bench: Bench, catalogue: Catalogue
) -> None:
    """Source of the limit: https://docs.slack.dev/apis/web-api/rate-limits (one a second)."""
    await bench.queue(*(message(n, f"site:s{n}") for n in range(40)))
    at: list[int] = []
    bench.server.on_post.append(lambda posted: at.append(posted.at))
    assert await bench.drain(bench.sender(catalogue)) == 40
    assert [call.status for call in bench.calls("chat.postMessage")] == [200] * 40
    # 40 posts at 0.6 a second, three of which may come at once: 37 / 0.6 s.
    assert at[-1] - at[0] == pytest.approx(37 / 0.6 * 1000, abs=50)


async def test_a_call_has_room_in_a_channel_that_is_full(
    bench: Bench, catalogue: Catalogue
) -> None:
    await bench.queue(*(message(n, f"site:s{n}") for n in range(20)))
    sender = bench.sender(catalogue)
    while (await sender.run_once(bench.time.wave)).sent:
        pass
    before = len(bench.texts())
    await bench.queue(message(99, "site:s99", urgency=ESCALATION))
    await sender.run_once(bench.time.wave)
    assert bench.texts()[before:] == ["Hello no. 99."]


async def test_retry_after_is_kept(bench: Bench, catalogue: Catalogue) -> None:
    bench.server.faults.add("rate_limit", "chat.postMessage", retry_after=7)
    await bench.queue(message(1), message(2, "site:beck"))
    sender = bench.sender(catalogue)
    await bench.drain(sender)
    first, *later = bench.calls("chat.postMessage")
    assert first.status == 429
    assert sorted(bench.texts()) == ["Hello no. 1.", "Hello no. 2."]
    retried = [call.at for call in later if call.args["text"] == first.args["text"]]
    assert retried == [START + 7000]


async def test_late_and_overtaken_messages_are_dropped_but_calls_are_not(
    bench: Bench, catalogue: Catalogue
) -> None:
    over = START - 1
    await bench.queue(
        message(1, not_after=over),
        message(2, "esc:alder-green", urgency=ESCALATION, not_after=over),
        message(3, "site:beck", key="nudge"),
        message(4, "site:beck", key="nudge"),
    )
    await bench.drain(bench.sender(catalogue))
    assert bench.texts() == ["Hello no. 4."]
    assert bench.texts(CALLS) == ["Hello no. 2."]
    assert await bench.store.waiting(HOME) == 0


def board(rev: int) -> Message:
    return message(
        rev, "wave", template="board", args={"n": str(rev)}, slot="pin", rev=rev, urgency=BOARD
    )


async def test_a_board_is_pinned_once_and_then_edited(bench: Bench, catalogue: Catalogue) -> None:
    sender = bench.sender(catalogue)
    for rev in range(4):
        await bench.queue(board(rev))
        await bench.drain(sender)
    assert bench.texts() == ["Online: 3"]
    assert [pin["text"] for pin in bench.server.pins(WAVE)] == ["Online: 3"]
    assert len(bench.calls("chat.postMessage")) == 1
    assert len(bench.calls("pins.add")) == 1
    stamp, rev = (await bench.store.thread_info(HOME, "wave")).slots["pin"]
    assert (stamp, rev) == (bench.server.messages(WAVE)[0]["ts"], 3)


async def test_edits_stay_below_their_tier_and_the_last_one_stands(
    bench: Bench, catalogue: Catalogue
) -> None:
    """Source: tier 3 is 50 a minute, https://docs.slack.dev/apis/web-api/rate-limits"""
    sender = bench.sender(catalogue)
    for rev in range(1, 120):
        await bench.queue(board(rev))
        while (await sender.run_once(bench.time.wave)).sent:
            pass
        bench.time.wave += 500  # 120 changes in a minute
    await bench.drain(sender)
    edits = bench.calls("chat.update")
    assert {call.status for call in edits} == {200}
    in_any_minute = max(sum(0 <= b.at - a.at < 60_000 for b in edits) for a in edits)
    assert 25 <= in_any_minute <= 35
    assert bench.texts() == ["Online: 119"]


@pytest.mark.parametrize("word", ["message_not_found", "cant_update_message", "edit_window_closed"])
async def test_an_edit_that_is_refused_is_posted_anew_and_pinned_anew(
    bench: Bench, catalogue: Catalogue, word: str
) -> None:
    sender = bench.sender(catalogue)
    await bench.queue(board(1))
    await bench.drain(sender)
    if word == "message_not_found":
        (old,) = bench.server.messages(WAVE)
        await bench.server.delete("U0MARA0001", WAVE, old["ts"])
    else:
        bench.server.faults.add("error", "chat.update", error=word)
    await bench.queue(board(2))
    await bench.drain(sender)
    assert bench.texts() == ["Online: 2"]
    assert [pin["text"] for pin in bench.server.pins(WAVE)] == ["Online: 2"]


async def test_a_refused_message_is_a_dead_letter_and_the_next_one_goes(
    bench: Bench, catalogue: Catalogue
) -> None:
    bench.server.faults.add("error", "chat.postMessage", error="invalid_blocks")
    await bench.queue(message(1), message(2))
    await bench.drain(bench.sender(catalogue))
    assert [fact.why for fact in bench.desk.dead] == ["message: invalid_blocks"]
    assert bench.texts() == ["Hello no. 2."]
    assert [trouble.kind for trouble in bench.troubles] == ["message"]
    assert [letter.why for letter in await bench.store.dead_letters(HOME)] == [
        "message: invalid_blocks"
    ]


async def test_a_text_that_lacks_an_argument_is_a_dead_letter(
    bench: Bench, catalogue: Catalogue
) -> None:
    await bench.queue(message(1, args={}), message(2))
    await bench.drain(bench.sender(catalogue))
    assert "needs 'name'" in bench.desk.dead[0].why
    assert bench.texts() == ["Hello no. 2."]


async def test_a_channel_that_takes_nothing_is_held_told_once_and_heals(
    bench: Bench, catalogue: Catalogue
) -> None:
    bench.server.faults.add("error", "chat.postMessage", times=3, error="not_in_channel")
    await bench.queue(*(message(n, f"site:s{n}") for n in range(3)))
    sender = bench.sender(catalogue, settings=SenderSettings(lease=1000, parallel=1))
    await sender.run_once(bench.time.wave)
    assert sender.held == {WAVE: "not_in_channel"}
    assert (await sender.run_once(bench.time.wave)).next_at == START + 60_000
    await bench.drain(sender)
    assert len(bench.texts()) == 3
    assert sender.held == {}
    told = [(trouble.kind, trouble.place, trouble.why) for trouble in bench.troubles]
    assert told == [("channel", WAVE, "not_in_channel")]
    assert len(bench.calls("chat.postMessage")) == 6


async def test_a_revoked_token_holds_every_channel(bench: Bench, catalogue: Catalogue) -> None:
    bench.server.faults.add("error", "chat.postMessage", error="token_revoked")
    await bench.queue(message(1), message(2, "esc:x"))
    sender = bench.sender(catalogue, settings=SenderSettings(lease=1000, parallel=1))
    await sender.run_once(bench.time.wave)
    swept = await sender.run_once(bench.time.wave)
    assert (swept.sent, swept.next_at) == (0, START + 60_000)
    assert [trouble.kind for trouble in bench.troubles] == ["everywhere"]
    await bench.drain(sender)
    assert len(bench.texts()) + len(bench.texts(CALLS)) == 2


async def test_a_disabled_account_is_of_the_person(bench: Bench, catalogue: Catalogue) -> None:
    bench.server.add_user("U0GONE0001", "gone", deleted=True)
    await bench.queue(
        message(1, "user:U0GONE0001"),
        message(2, "user:U0NEVER001"),
        message(3, "user:U0MARA0001"),
        message(4, "user:U0MARA0001"),
    )
    sender = bench.sender(catalogue)
    await bench.drain(sender)
    assert sorted(fact.why for fact in bench.desk.dead) == [
        "person: user_disabled",
        "person: user_not_found",
    ]
    assert sender.held == {}
    direct = bench.server.workspace.dms["U0MARA0001"]
    assert bench.texts(direct) == ["Hello no. 3.", "Hello no. 4."]


async def test_a_thread_with_no_channel_waits_and_is_told(
    bench: Bench, catalogue: Catalogue
) -> None:
    await bench.queue(message(1, "lost:x"), message(2))
    sender = bench.sender(catalogue)
    swept = await sender.run_once(bench.time.wave)
    assert (swept.sent, bench.texts()) == (1, ["Hello no. 2."])
    assert "no channel is set" in bench.troubles[0].why


async def test_a_root_that_was_deleted_does_not_lose_the_message(
    bench: Bench, catalogue: Catalogue
) -> None:
    sender = bench.sender(catalogue)
    await bench.queue(message(0, root=True))
    await bench.drain(sender)
    (root,) = bench.server.messages(WAVE)
    await bench.server.delete("U0MARA0001", WAVE, root["ts"])
    await bench.queue(message(1))
    await bench.drain(sender)
    assert bench.texts() == ["Hello no. 1."]


async def test_buttons_arrive_with_their_actions(bench: Bench, catalogue: Catalogue) -> None:
    buttons = (Button("a:q1:done", "b_done", "primary"), Button("a:q1:stop", "b_stop", "danger"))
    await bench.queue(message(1, buttons=buttons))
    await bench.drain(bench.sender(catalogue))
    (posted,) = bench.server.messages(WAVE)
    shown = posted["blocks"][-1]["elements"]
    assert [(b["action_id"], b["text"]["text"], b["style"]) for b in shown] == [
        ("a:q1:done", "Done", "primary"),
        ("a:q1:stop", "Stop", "danger"),
    ]


async def test_follow_up_facts_reach_the_desk_in_order_and_are_settled(
    bench: Bench, catalogue: Catalogue
) -> None:
    def told(n: int) -> bytes:
        fact = Told(
            id=f"f{n}/wave", subject=of_wave("w2"), received_at=1, source=VISIT, what=f"w{n}"
        )
        encoded = msgspec.json.encode(fact)
        assert msgspec.json.decode(encoded, type=AnyFact) == fact
        return encoded

    await bench.queue(
        *(message(n, "relay", way="fact", template="", fact=told(n)) for n in range(100)),
        message(
            100,
            "relay",
            way="index",
            args={"kind": "serial", "value": "HML4F7K2Q", "subject": str(VISIT)},
        ),
        message(101, "relay", way="fact", fact=b"{}"),
    )
    await bench.drain(bench.sender(catalogue))
    assert [f.what for f in bench.desk.facts if isinstance(f, Told)] == [
        f"w{n}" for n in range(100)
    ]
    assert await bench.store.find("serial", "HML4F7K2Q") == [VISIT]
    assert await bench.store.waiting(HOME) == 0
    (dead,) = await bench.store.dead_letters(HOME)
    assert "not readable" in dead.why


async def test_the_end_is_written_when_the_store_is_back_and_nothing_is_sent_twice(
    bench: Bench, catalogue: Catalogue
) -> None:
    bench.desk.fail = [StoreAway("cut"), StoreAway("cut")]
    await bench.queue(message(1))
    sender = bench.sender(catalogue)
    with pytest.raises(StoreAway):
        await sender.run_once(bench.time.wave)
    with pytest.raises(StoreAway):
        await sender.run_once(bench.time.wave)
    await bench.drain(sender)
    assert bench.texts() == ["Hello no. 1."]
    assert len(bench.calls("chat.postMessage")) == 1
    assert await bench.store.waiting(HOME) == 0


async def test_a_desk_that_settles_nothing_does_not_make_it_send_again(
    bench: Bench, catalogue: Catalogue
) -> None:
    class Deaf:
        async def receive(self, fact: object) -> object:
            return None

        async def expects(self, serial: str, subject: Subject) -> int:
            return 0

    await bench.queue(message(1))
    sender = bench.sender(catalogue)
    sender._recorder._desk = Deaf()
    for _ in range(5):
        await sender.run_once(bench.time.wave)
        bench.time.process += 60_000
    assert bench.texts() == ["Hello no. 1."]
    assert await bench.store.waiting(HOME) == 0


async def test_live_it_sends_on_waking_and_ends_what_it_began(
    bench: Bench, catalogue: Catalogue
) -> None:
    sender, wake = bench.sender(catalogue), asyncio.Event()
    running = asyncio.create_task(sender.run(bench.time.now, wake))
    fault = bench.server.faults.add("late", "chat.postMessage")
    await bench.queue(message(1))
    wake.set()
    await asyncio.wait_for(fault.reached.wait(), 5)
    running.cancel()
    fault.release()
    with pytest.raises(asyncio.CancelledError):
        await running
    assert len(bench.desk.delivered) == 1


async def test_a_lease_shorter_than_two_deadlines_is_refused(
    bench: Bench, catalogue: Catalogue
) -> None:
    with pytest.raises(ValueError, match="twice the deadline"):
        bench.sender(catalogue, settings=SenderSettings(lease=700))


async def test_two_replicas_send_each_message_once(bench: Bench, catalogue: Catalogue) -> None:
    bench.server.limits.on = False
    await bench.queue(*(message(n, f"site:s{n % 5}", root=n < 5) for n in range(40)))
    fast = Pacing(burst=1000)
    senders = [
        bench.sender(catalogue, pacing=fast, leases=ChannelLeases(bench.store, owner))
        for owner in ("one", "two")
    ]
    for _ in range(50):
        await asyncio.gather(*(sender.run_once(bench.time.wave) for sender in senders))
        bench.time.process += 100
    assert sorted(bench.texts()) == sorted(f"Hello no. {n}." for n in range(40))
    assert len(bench.calls("chat.postMessage")) == 40
    for n in range(5):
        of_thread = [text for text in bench.texts() if int(text[10:-1]) % 5 == n]
        assert of_thread == [f"Hello no. {m}." for m in range(n, 40, 5)]


async def test_a_slow_chat_leaves_room_for_a_call(bench: Bench, catalogue: Catalogue) -> None:
    fault = bench.server.faults.add("late", "chat.postMessage", times=2)
    sender, wake = (
        bench.sender(catalogue, settings=SenderSettings(lease=1000, parallel=2, parallel_calls=1)),
        asyncio.Event(),
    )
    await bench.queue(message(1, "site:a"), message(2, "site:b"), message(3, "site:c"))
    running = asyncio.create_task(sender.run(bench.time.now, wake))
    await asyncio.wait_for(fault.reached.wait(), 5)
    await bench.queue(message(9, "esc:a", urgency=ESCALATION))
    wake.set()
    await bench.posted(CALLS)
    assert bench.texts(CALLS) == ["Hello no. 9."]
    assert len(bench.desk.delivered) <= 1  # the two slow ones are still under way
    fault.release()
    running.cancel()
    with pytest.raises(asyncio.CancelledError):
        await running


def inward(number: int) -> Message:
    """What a site tells its wave, the newest of all."""
    told = Told(id="f1/wave", subject=of_wave("w2"), received_at=1, source=VISIT, what="danger")
    fact = msgspec.json.encode(told)
    return message(number, "relay", way="fact", template="", fact=fact)


async def test_what_is_for_ourselves_never_waits_for_a_slow_chat(
    bench: Bench, catalogue: Catalogue
) -> None:
    """Every slot, those of calls too, is taken by a post that hangs; danger holds the wave."""
    fault = bench.server.faults.add("late", "chat.postMessage", times=3)
    settings = SenderSettings(lease=20_000, parallel=2, parallel_calls=1)
    chat = ChatOut("xoxb-practice", base_url=f"{bench.server.base_url}/api/", deadline=10)
    sender, wake = bench.sender(catalogue, chat=chat, settings=settings), asyncio.Event()
    calls = [message(n, f"esc:{n}", urgency=ESCALATION) for n in range(3)]
    await bench.queue(*calls, message(8, "site:h"))
    running = asyncio.create_task(sender.run(bench.time.now, wake))
    async with asyncio.timeout(5):
        await fault.reached.wait()
        while fault.fired < 3:  # noqa: ASYNC110 - the fault tells of its first only
            await asyncio.sleep(0)
    told = asyncio.Event()
    bench.desk.heard.append(lambda fact: told.set() if isinstance(fact, Told) else None)
    await bench.queue(inward(9))
    wake.set()
    await asyncio.wait_for(told.wait(), 3)  # long before a post that hangs is given up
    assert bench.desk.delivered == []
    fault.release()
    running.cancel()
    with pytest.raises(asyncio.CancelledError):
        await running
    await chat.close()


async def test_what_is_for_ourselves_goes_first_however_much_is_queued_before_it(
    bench: Bench, catalogue: Catalogue
) -> None:
    order: list[str] = []
    bench.server.on_post.append(lambda posted: order.append("post"))
    bench.desk.heard.append(lambda fact: order.append(type(fact).__name__))
    await bench.queue(*(message(n, f"site:s{n}") for n in range(3)), inward(9))
    settings = SenderSettings(lease=1000, look_at=2, parallel=1, parallel_calls=0)
    await bench.sender(catalogue, settings=settings).run_once(bench.time.wave)
    assert order[0] == "Told"


async def spoil(bench: Bench, thread: str, number: int) -> None:
    """Write over a message in the outbox what no version of ours has written."""
    key = keys.of(HOME).outbox(thread)
    await bench.store._write(key, "HSET", key, f"b:{VISIT}:7:{number}", b'{"id": 7}')


async def test_a_message_that_cannot_be_read_stops_its_thread_alone_and_is_told_once(
    bench: Bench, catalogue: Catalogue
) -> None:
    await bench.queue(
        message(1, "site:a"),
        message(2, "site:a"),
        message(3, "site:b"),
        message(4, "esc:b", urgency=ESCALATION),
    )
    await spoil(bench, "site:a", 1)
    sender = bench.sender(catalogue)
    for _ in range(3):
        with pytest.raises(StoreRefused, match="not of this version"):
            await sender.run_once(bench.time.wave)
    assert bench.texts() == ["Hello no. 3."]
    assert bench.texts(CALLS) == ["Hello no. 4."]
    (trouble,) = bench.troubles
    assert (trouble.place, trouble.thread) == (f"{HOME}/site:a", "site:a")


async def test_live_a_message_that_cannot_be_read_is_no_absence_of_the_store(
    bench: Bench, catalogue: Catalogue, caplog: pytest.LogCaptureFixture
) -> None:
    await bench.queue(message(1, "site:a"), message(4, "esc:b", urgency=ESCALATION))
    await spoil(bench, "site:a", 1)
    running = asyncio.create_task(bench.sender(catalogue).run(bench.time.now, asyncio.Event()))
    await bench.posted(CALLS)
    running.cancel()
    with pytest.raises(asyncio.CancelledError):
        await running
    assert "store is away" not in caplog.text


async def test_a_follow_up_that_cannot_be_read_holds_up_no_other(
    bench: Bench, catalogue: Catalogue
) -> None:
    bad = message(1, "relay", way="fact", template="", fact=b"")
    await bench.queue(bad, inward(2))
    await spoil(bench, "relay", 1)
    with pytest.raises(StoreRefused, match="not of this version"):
        await bench.sender(catalogue).run_once(bench.time.wave)
    assert [fact.what for fact in bench.desk.facts if isinstance(fact, Told)] == ["danger"]
    assert [trouble.thread for trouble in bench.troubles] == ["relay"]


async def test_an_end_that_the_store_refuses_keeps_nothing_else_from_being_sent(
    bench: Bench, catalogue: Catalogue
) -> None:
    sender = bench.sender(catalogue)
    receive = bench.desk.receive

    async def refusing(fact: Any) -> object:
        if isinstance(fact, Delivered) and fact.thread == "site:a":
            raise StoreRefused("not this one")
        return await receive(fact)

    bench.desk.receive = refusing  # type: ignore[method-assign]
    await bench.queue(message(1, "site:a"))
    with pytest.raises(StoreRefused, match="not this one"):
        await sender.run_once(bench.time.wave)
    await bench.queue(message(2, "esc:b", urgency=ESCALATION))
    with pytest.raises(StoreRefused, match="not this one"):
        await sender.run_once(bench.time.wave)
    assert bench.texts() == ["Hello no. 1."]
    assert bench.texts(CALLS) == ["Hello no. 2."]


async def test_while_the_store_is_away_it_waits_and_then_goes_on(
    bench: Bench, catalogue: Catalogue, monkeypatch: pytest.MonkeyPatch
) -> None:
    sender, wake = bench.sender(catalogue), asyncio.Event()
    homes, asked = bench.store.homes, asyncio.Event()

    async def away() -> list[str]:
        asked.set()
        raise StoreAway("no answer")

    monkeypatch.setattr(bench.store, "homes", away)
    running = asyncio.create_task(sender.run(bench.time.now, wake))
    await asyncio.wait_for(asked.wait(), 5)
    monkeypatch.setattr(bench.store, "homes", homes)
    await bench.queue(message(1))
    wake.set()
    await bench.posted(WAVE)
    assert bench.texts() == ["Hello no. 1."]
    running.cancel()
    with pytest.raises(asyncio.CancelledError):
        await running
