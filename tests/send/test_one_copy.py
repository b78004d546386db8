"""Unknown outcomes: cut after accepting, late answers, a killed process. One copy remains."""

import asyncio

import pytest

from bot.practice.chatserver.faults import FaultKind
from bot.send.sender import SenderSettings
from bot.speak.catalogue import Catalogue
from bot.store.outbox import Claimed
from tests.send.conftest import HOME, Bench, message

WAVE = "C0WAVE0001"


@pytest.mark.parametrize("kind", ["drop_after", "late"])
@pytest.mark.parametrize("where", ["root", "reply", "direct"])
async def test_a_copy_that_is_there_already_is_adopted(
    bench: Bench, catalogue: Catalogue, kind: FaultKind, where: str
) -> None:
    sender = bench.sender(catalogue)
    await bench.queue(message(0, root=True))
    if where == "reply":
        await bench.drain(sender)
        await bench.queue(message(1))
    if where == "direct":
        await bench.queue(message(1, "user:U0MARA0001"))
    bench.server.faults.add(kind, "chat.postMessage")
    await bench.drain(sender)
    marks = [
        posted["metadata"]["event_payload"]["id"]
        for channel in bench.server.workspace.channels
        for posted in bench.server.messages(channel)
    ]
    assert len(marks) == len(set(marks)) == len(bench.calls("chat.postMessage"))
    stamps = {fact.message: fact.stamp for fact in bench.desk.delivered}
    assert len(stamps) == len(marks)
    assert all(
        stamps[posted["metadata"]["event_payload"]["id"]] == posted["ts"]
        for channel in bench.server.workspace.channels
        for posted in bench.server.messages(channel)
    )


async def test_a_call_that_never_came_is_sent_again(bench: Bench, catalogue: Catalogue) -> None:
    bench.server.faults.add("drop_before", "chat.postMessage")
    await bench.queue(message(1))
    await bench.drain(bench.sender(catalogue))
    assert bench.texts() == ["Hello no. 1."]
    assert len(bench.calls("chat.postMessage")) == 2


@pytest.mark.parametrize("word", ["internal_error", "fatal_error"])
async def test_an_error_that_may_have_done_it_is_in_doubt(
    bench: Bench, catalogue: Catalogue, word: str
) -> None:
    """Source: both words "possible some aspect of the operation succeeded",
    https://docs.slack.dev/reference/methods/chat.postMessage (Errors)."""
    bench.server.faults.add("error", "chat.postMessage", error=word)
    await bench.queue(message(1))
    await bench.drain(bench.sender(catalogue))
    assert bench.texts() == ["Hello no. 1."]
    assert len(bench.calls("conversations.history")) == 1


async def test_nothing_is_looked_at_before_the_wait_is_over(
    bench: Bench, catalogue: Catalogue
) -> None:
    bench.server.faults.add("drop_after", "chat.postMessage")
    await bench.queue(message(1))
    sender = bench.sender(catalogue)
    for _ in range(5):
        swept = await sender.run_once(bench.time.wave)
        assert (swept.sent, swept.busy) == (0, True)
        bench.time.process += 90
    assert bench.calls("conversations.history") == []
    bench.time.process += 60
    assert (await sender.run_once(bench.time.wave)).sent == 1


async def test_a_copy_that_comes_after_we_looked_is_taken_away(
    bench: Bench, catalogue: Catalogue
) -> None:
    """The platform accepts a call long after we gave it up: two stand there, then one."""
    fault = bench.server.faults.add("late_before", "chat.postMessage")
    await bench.queue(message(0, root=True), message(1))
    sender = bench.sender(catalogue)
    await bench.drain(sender)
    recorded = bench.desk.delivered[0].stamp
    fault.release()
    await fault_done(bench)
    assert bench.texts().count("Hello no. 0.") == 2
    assert await sender.tidy() == 0  # a late copy may still come
    bench.time.process += 60_001
    assert await sender.tidy() == 1
    root, reply = bench.server.messages(WAVE)
    assert (root["ts"], reply["thread_ts"]) == (recorded, recorded)
    assert await bench.store.doubts(HOME) == {}


async def fault_done(bench: Bench) -> None:
    """Wait until the held call has been carried out by the stand-in."""
    done = asyncio.Event()

    def look(_: object) -> None:
        if all(call.done for call in bench.calls("chat.postMessage")):
            done.set()

    bench.server.on_post.append(look)
    # The call is marked done just before the hook of its own post is heard.
    look(None)
    await asyncio.wait_for(done.wait(), 5)


@pytest.mark.parametrize("posted", [False, True])
async def test_a_killed_process_leaves_a_claim_and_the_next_one_looks_first(
    bench: Bench, catalogue: Catalogue, posted: bool
) -> None:
    class Killed(BaseException):
        pass

    def probe(point: str) -> None:
        if point == ("post.after" if posted else "post.before"):
            raise Killed

    await bench.queue(message(0, root=True), message(1))
    with pytest.raises(Killed):
        await bench.sender(catalogue, probe=probe).run_once(bench.time.wave)
    assert bench.texts() == (["Hello no. 0."] if posted else [])
    await bench.store.free_leases(HOME)  # what a bot alone on its store does at its start
    await bench.drain(bench.sender(catalogue))
    assert bench.texts() == ["Hello no. 0.", "Hello no. 1."]
    assert len(bench.calls("chat.postMessage")) == 2


async def test_another_replicas_lease_is_waited_for(bench: Bench, catalogue: Catalogue) -> None:
    await bench.queue(message(1))
    process = bench.time.process
    claimed = await bench.store.claim(
        HOME,
        "site:alder-green",
        message(1).id,
        process=process,
        lease_until=process + 1000,
    )
    assert isinstance(claimed, Claimed)
    sender = bench.sender(catalogue)
    for _ in range(9):
        swept = await sender.run_once(bench.time.wave)
        assert (swept.sent, swept.busy) == (0, True)
        bench.time.process += 100
    assert bench.calls("chat.postMessage") == []
    bench.time.process += 200
    await bench.drain(sender)
    assert bench.texts() == ["Hello no. 1."]


async def test_a_message_in_doubt_that_is_too_late_is_looked_for_and_dropped(
    bench: Bench, catalogue: Catalogue
) -> None:
    bench.server.faults.add("drop_before", "chat.postMessage")
    await bench.queue(message(1, not_after=bench.time.wave))
    sender = bench.sender(catalogue)
    await sender.run_once(bench.time.wave)
    bench.time.process += 1000
    bench.time.wave += 1
    await bench.drain(sender)
    assert bench.texts() == []
    assert len(bench.calls("conversations.history")) == 1
    assert await bench.store.waiting(HOME) == 0


async def test_a_pin_cut_off_is_made_good_without_a_second_board(
    bench: Bench, catalogue: Catalogue
) -> None:
    bench.server.faults.add("drop_before", "pins.add")
    await bench.queue(message(1, "wave", template="board", args={"n": "1"}, slot="pin", rev=1))
    await bench.drain(bench.sender(catalogue))
    assert bench.texts() == ["Online: 1"]
    assert len(bench.server.pins(WAVE)) == 1


async def test_an_edit_cut_off_is_simply_made_again(bench: Bench, catalogue: Catalogue) -> None:
    sender = bench.sender(catalogue)
    for rev in (1, 2):
        bench.server.faults.add("drop_after", "chat.update")
        await bench.queue(
            message(rev, "wave", template="board", args={"n": str(rev)}, slot="pin", rev=rev)
        )
        await bench.drain(sender)
    assert bench.texts() == ["Online: 2"]


@pytest.mark.parametrize("kind", ["drop_before", "drop_after", "late", "late_before", "error"])
async def test_a_fault_at_every_fourth_call_leaves_one_copy_of_each(
    bench: Bench, catalogue: Catalogue, kind: FaultKind
) -> None:
    for nth in range(2, 30, 4):
        bench.server.faults.add(kind, "chat.postMessage", nth=nth, seconds=0.6)
    await bench.queue(
        *(message(n, f"site:s{n % 10}", root=n < 10) for n in range(30)),
    )
    sender = bench.sender(
        catalogue, settings=SenderSettings(lease=1000, in_doubt_wait=500, tidy_after=1)
    )
    await bench.drain(sender)
    bench.server.faults.clear()
    if kind != "error" and kind != "drop_before":
        await fault_done(bench)
    await sender.tidy(force=True)
    assert sorted(bench.texts()) == sorted(f"Hello no. {n}." for n in range(30))
