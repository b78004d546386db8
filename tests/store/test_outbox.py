"""The outbox: order in a thread, one sender at a time, and what is superseded."""

import pytest

from bot.model.message import ANSWER, BOARD, ESCALATION, NUDGE, Message
from bot.store.commit import Loaded, Settle
from bot.store.outbox import Claimed, Queued, Thread
from bot.store.store import Store
from tests.store.conftest import VISIT, decision, message

HOME = VISIT.home
SITE = "site:alder-green"


async def send(store: Store, fact_id: str, *messages: Message) -> None:
    await store.commit(decision(await store.load(VISIT), fact_id, outbox=messages))


async def heads(store: Store, *, wave: int = 0, process: int = 0, limit: int = 100) -> list[str]:
    found = await store.ready(HOME, limit, wave=wave, process=process)
    return [queued.message.id for queued in found]


async def queue(store: Store, thread: str = SITE) -> list[str]:
    return [queued.message.id for queued in await store.unsent(HOME, thread, 100)]


def sent(name: str, thread: str = SITE, **more: object) -> Settle:
    more.setdefault("stamp", f"stamp of {name}")
    return Settle(message=name, thread=thread, state="sent", **more)  # type: ignore[arg-type]


async def test_a_message_comes_back_as_it_was_written(store: Store) -> None:
    written = message("m1", args={"name": "@p:x:name"}, urgency=NUDGE, not_after=9, key="nudge")
    await send(store, "f1", written)
    assert await store.ready(HOME, 10, wave=0, process=0) == [Queued(written, "queued", 0, 0, "")]


async def test_only_the_head_of_each_thread_is_ready(store: Store) -> None:
    await send(store, "f1", message("a1", "a"), message("b1", "b"), message("a2", "a"))
    assert sorted(await heads(store)) == ["a1", "b1"]
    assert await queue(store, "a") == ["a1", "a2"]
    assert await store.waiting(HOME) == 3
    assert not await store.idle(HOME)


async def test_urgency_comes_first_then_age(store: Store) -> None:
    await send(
        store,
        "f1",
        message("board", "a", urgency=BOARD, made_at=1),
        message("late answer", "b", urgency=ANSWER, made_at=9),
        message("early answer", "c", urgency=ANSWER, made_at=3),
        message("call", "d", urgency=ESCALATION, made_at=8),
        message("nudge", "e", urgency=NUDGE, made_at=2),
    )
    ordered = ["call", "early answer", "late answer", "nudge", "board"]
    assert await heads(store) == ordered
    assert await heads(store, limit=2) == ordered[:2]


async def test_what_stands_before_an_urgent_message_is_urgent_too(store: Store) -> None:
    await send(store, "f1", message("old", "a", urgency=BOARD), message("other", "b"))
    assert await heads(store) == ["other", "old"]
    await send(store, "f2", message("call", "a", urgency=ESCALATION))
    assert await heads(store) == ["old", "other"]
    await store.settle(HOME, (sent("old", "a"),))
    assert await heads(store) == ["call", "other"]


async def test_settling_moves_the_thread_on_and_empties_it(store: Store) -> None:
    await send(store, "f1", message("m1"), message("m2"))
    await store.settle(HOME, (sent("m1"),))
    assert await heads(store) == ["m2"]
    await store.settle(HOME, (sent("m1"),))  # twice changes nothing
    assert await heads(store) == ["m2"]
    await store.settle(HOME, (sent("m2"),))
    assert await heads(store) == []
    assert await store.idle(HOME)
    assert await store.waiting(HOME) == 0


async def test_a_message_is_queued_once_for_its_id(store: Store) -> None:
    await send(store, "f1", message("m1"))
    await send(store, "f2", message("m1"))
    assert await queue(store) == ["m1"]


async def test_follow_ups_may_be_settled_in_any_order_and_many_at_once(store: Store) -> None:
    relay = [message(f"r{n}", "relay", way="fact", fact=b"{}") for n in range(40)]
    await send(store, "f1", *relay)
    await store.settle(HOME, tuple(sent(f"r{n}", "relay") for n in range(0, 40, 2)))
    assert await queue(store, "relay") == [f"r{n}" for n in range(1, 40, 2)]
    await store.settle(HOME, tuple(sent(f"r{n}", "relay") for n in range(1, 40, 2)))
    assert await store.idle(HOME)


# --- claims ---------------------------------------------------------------------------


async def claim(store: Store, name: str, process: int, until: int, thread: str = SITE) -> object:
    return await store.claim(HOME, thread, name, process=process, lease_until=until)


async def test_a_claim_keeps_others_away_until_it_runs_out(store: Store) -> None:
    await send(store, "f1", message("m1"))
    assert await claim(store, "m1", 100, 200) == Claimed(1, doubt=False)
    assert await claim(store, "m1", 199, 300) == "taken"
    assert await heads(store, process=199) == []
    (queued,) = await store.unsent(HOME, SITE, 1)
    assert (queued.state, queued.attempt, queued.lease_until) == ("sending", 1, 200)


async def test_a_claim_after_a_lease_ran_out_is_in_doubt(store: Store) -> None:
    await send(store, "f1", message("m1"))
    await claim(store, "m1", 100, 200)
    assert await heads(store, process=200) == ["m1"]
    assert await store.doubts(HOME) == {}
    assert await claim(store, "m1", 200, 300) == Claimed(2, doubt=True)
    assert await store.doubts(HOME) == {SITE: 200}
    await store.settle(HOME, (sent("m1"),))
    assert await store.doubts(HOME) == {SITE: 200}  # until somebody has read the thread
    await store.doubt_ends(HOME, SITE)
    assert await store.doubts(HOME) == {}


async def test_a_lease_can_be_extended_and_freed(store: Store) -> None:
    await send(store, "f1", message("m1"))
    await store.extend(HOME, SITE, 900)  # nothing is claimed: no lease comes of it
    assert await heads(store) == ["m1"]
    await claim(store, "m1", 100, 200)
    await store.extend(HOME, SITE, 500)
    assert await claim(store, "m1", 499, 600) == "taken"
    await store.free_leases(HOME)
    assert await claim(store, "m1", 101, 600) == Claimed(2, doubt=True)


async def test_only_the_head_can_be_claimed(store: Store) -> None:
    await send(store, "f1", message("m1"), message("m2"))
    assert await claim(store, "m2", 0, 100) == "behind"
    assert await claim(store, "m9", 0, 100) == "gone"
    await claim(store, "m1", 0, 100)
    await store.settle(HOME, (sent("m1"),))
    assert await claim(store, "m1", 0, 100) == "gone"
    assert await claim(store, "m2", 0, 100) == Claimed(1, doubt=False)


async def test_a_passing_error_gives_the_message_back_for_later(store: Store) -> None:
    await send(store, "f1", message("m1"), message("other", "b"))
    await claim(store, "m1", 0, 100)
    await store.release(HOME, SITE, "m1", not_before=5_000, why="ratelimited", doubt=False)
    assert await heads(store, wave=4_999) == ["other"]
    assert await store.next_retry(HOME) == 5_000
    assert sorted(await heads(store, wave=5_000)) == ["m1", "other"]
    (queued,) = await store.unsent(HOME, SITE, 1)
    assert (queued.state, queued.attempt, queued.why) == ("queued", 1, "ratelimited")
    assert await claim(store, "m1", 0, 100) == Claimed(2, doubt=False)
    await store.settle(HOME, (sent("m1"),))
    assert await store.next_retry(HOME) is None


async def test_what_was_released_in_doubt_is_claimed_in_doubt(store: Store) -> None:
    await send(store, "f1", message("m1"))
    await claim(store, "m1", 0, 100)
    await store.release(HOME, SITE, "m1", not_before=0, why="timeout", doubt=True)
    assert await claim(store, "m1", 1, 100) == Claimed(2, doubt=True)


async def test_releasing_what_is_not_claimed_changes_nothing(store: Store) -> None:
    await send(store, "f1", message("m1"))
    await store.release(HOME, SITE, "m1", not_before=5_000, why="x", doubt=False)
    await store.release(HOME, SITE, "gone", not_before=5_000, why="x", doubt=False)
    assert await heads(store) == ["m1"]


async def test_the_next_message_does_not_wait_for_the_error_of_the_one_before(
    store: Store,
) -> None:
    await send(store, "f1", message("m1"), message("m2"))
    await claim(store, "m1", 0, 100)
    await store.release(HOME, SITE, "m1", not_before=5_000, why="ratelimited", doubt=False)
    await store.settle(HOME, (Settle(message="m1", thread=SITE, state="dropped"),))
    assert await heads(store) == ["m2"]
    assert await store.next_retry(HOME) is None


async def test_settling_a_message_behind_leaves_the_heads_lease(store: Store) -> None:
    await send(store, "f1", message("m1"), message("m2"))
    await claim(store, "m1", 0, 100)
    await store.settle(HOME, (sent("m2"),))
    assert await claim(store, "m1", 99, 200) == "taken"


async def test_many_waiting_threads_do_not_hide_one_that_is_ready(store: Store) -> None:
    await send(store, "f1", *(message(f"m{n}", f"t{n}") for n in range(300)))
    await send(store, "f2", message("last", "last", made_at=2_000))
    for n in range(300):
        await claim(store, f"m{n}", 0, 100, thread=f"t{n}")
    assert await heads(store, limit=5) == ["last"]


# --- superseding ----------------------------------------------------------------------


async def test_an_unsent_message_with_the_same_key_is_dropped(store: Store) -> None:
    await send(store, "f1", message("n1", key="nudge"), message("keep"))
    await send(store, "f2", message("n2", key="nudge"))
    assert await queue(store) == ["keep", "n2"]
    await send(store, "f3", message("n3", key="nudge"))
    assert await queue(store) == ["keep", "n3"]
    assert await claim(store, "n2", 0, 100) == "gone"


async def test_keys_of_different_threads_are_different(store: Store) -> None:
    await send(store, "f1", message("a1", "a", key="nudge"), message("b1", "b", key="nudge"))
    assert sorted(await heads(store)) == ["a1", "b1"]


async def test_what_is_being_sent_is_not_dropped(store: Store) -> None:
    await send(store, "f1", message("n1", key="nudge"))
    await claim(store, "n1", 0, 100)
    await send(store, "f2", message("n2", key="nudge"))
    assert await queue(store) == ["n1", "n2"]
    await send(store, "f3", message("n3", key="nudge"))
    assert await queue(store) == ["n1", "n3"]


async def test_what_was_sent_is_no_longer_superseded(store: Store) -> None:
    await send(store, "f1", message("n1", key="nudge"))
    await store.settle(HOME, (sent("n1"),))
    await send(store, "f2", message("n2", key="nudge"))
    assert await queue(store) == ["n2"]


async def test_what_was_sent_meanwhile_does_not_shield_a_newer_one(store: Store) -> None:
    await send(store, "f1", message("n1", key="nudge", slot="card", rev=1))
    await claim(store, "n1", 0, 100)
    await send(store, "f2", message("n2", key="nudge", slot="card", rev=2))
    await store.settle(HOME, (sent("n1"),))
    await send(store, "f3", message("n3", key="nudge", slot="card", rev=3))
    assert await queue(store) == ["n3"]


async def test_an_older_revision_gives_way_to_a_newer(store: Store) -> None:
    await send(store, "f1", message("p1", "wave", slot="pin", rev=1))
    await send(store, "f2", message("p2", "wave", slot="pin", rev=2))
    assert await queue(store, "wave") == ["p2"]
    await send(store, "f3", message("p0", "wave", slot="pin", rev=1))
    assert await queue(store, "wave") == ["p2"]


async def test_superseding_the_last_unsent_message_empties_the_thread(store: Store) -> None:
    await send(store, "f1", message("p1", "a", key="x"))
    await send(store, "f2", message("p2", "a", key="x", urgency=BOARD), message("b", "b"))
    assert await heads(store) == ["b", "p2"]


# --- what becomes of them ---------------------------------------------------------------


async def test_a_root_and_slots_are_remembered(store: Store) -> None:
    await send(store, "f1", message("m1", root=True), message("m2", slot="card", rev=3))
    await store.settle(HOME, (sent("m1", channel="C1", stamp="10.1", root=True),))
    await store.settle(HOME, (sent("m2", channel="C1", stamp="10.2", slot="card", rev=3),))
    assert await store.thread_info(HOME, SITE) == Thread("C1", "10.1", {"card": ("10.2", 3)})
    assert await store.thread_info(HOME, "nowhere") == Thread()


async def test_an_older_revision_never_overwrites_a_newer_stamp(store: Store) -> None:
    await send(store, "f1", message("a", slot="card", rev=5), message("b"), message("c"))
    await store.settle(HOME, (sent("a", stamp="s5", slot="card", rev=5),))
    await store.settle(HOME, (sent("b", stamp="s4", slot="card", rev=4),))
    assert (await store.thread_info(HOME, SITE)).slots == {"card": ("s5", 5)}
    await store.settle(HOME, (sent("c", stamp="s5 anew", slot="card", rev=5),))
    assert (await store.thread_info(HOME, SITE)).slots == {"card": ("s5 anew", 5)}


async def test_a_dead_letter_is_kept_with_its_error(store: Store) -> None:
    written = message("m1")
    await send(store, "f1", written, message("m2"))
    dead = Settle(message="m1", thread=SITE, state="dead", why="channel_not_found")
    await store.settle(HOME, (dead,))
    (letter,) = await store.dead_letters(HOME)
    assert (letter.message, letter.why) == (written, "channel_not_found")
    assert await heads(store) == ["m2"]
    assert await store.thread_info(HOME, SITE) == Thread()


async def test_a_dropped_message_leaves_nothing(store: Store) -> None:
    await send(store, "f1", message("m1"))
    await store.settle(HOME, (Settle(message="m1", thread=SITE, state="dropped"),))
    assert await store.idle(HOME)
    assert await store.dead_letters(HOME) == []


@pytest.mark.parametrize("crowd", [1, 500])
async def test_a_stale_commit_settles_nothing(store: Store, crowd: int) -> None:
    await send(store, "f1", *(message(f"m{n}") for n in range(crowd)))
    late = decision(Loaded(0, b""), "f2", settle=(sent("m0"),))
    await store.commit(late)
    assert len(await store.unsent(HOME, SITE, 1_000)) == crowd


async def test_a_silenced_thread_says_nothing_that_still_waits(store: Store) -> None:
    root = message("root", root=True)
    await send(
        store, "f1", root, message("m1"), message("m2", key="question"), message("x", "other")
    )
    read = await store.load(VISIT)
    await store.commit(decision(read, "f2", silence=(SITE,), outbox=[message("call", "esc")]))
    assert await queue(store) == ["root"], "what opens the thread stays"
    assert await queue(store, "other") == ["x"]
    assert await queue(store, "esc") == ["call"]
    read = await store.load(VISIT)
    await store.commit(decision(read, "f3", settle=(sent("root", root=True),)))
    await send(store, "f4", message("m3"), message("m4"))
    await store.claim(HOME, SITE, "m3", process=0, lease_until=50)
    read = await store.load(VISIT)
    await store.commit(decision(read, "f5", silence=(SITE,)))
    assert await queue(store) == ["m3"], "what is being sent cannot be called back"
