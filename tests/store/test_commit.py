"""One commit: whole, once, on what was read."""

import asyncio
import hashlib

import pytest

from bot.model.subject import of_cause, of_visit, of_wave
from bot.store.commit import ANY, Commit, Done, Known, Loaded, Settle, Stale
from bot.store.errors import StoreRefused
from bot.store.pack import chained
from bot.store.store import JournalLine, Store
from tests.store.conftest import VISIT, decision, message

NEW = Loaded(0, b"")


async def lines(store: Store, home: str) -> list[JournalLine]:
    return [line async for line in store.journal(home)]


async def test_a_subject_that_does_not_exist_reads_as_version_0(store: Store) -> None:
    assert await store.load(VISIT) == Loaded(version=0, body=b"", hold=0, chain="")


async def test_a_decision_is_written_whole(store: Store) -> None:
    made = decision(
        NEW,
        "f1",
        body=b'{"stage":"loading"}',
        entries=(b'{"kind":"a"}', b'{"kind":"b"}'),
        deadlines={"checkpoint": 5_000, "window": 9_000},
        outbox=(message("m1"),),
        counters={"nudges": 2, "sent": -1},
    )
    assert await store.commit(made) == Done(1)
    read = await store.load(VISIT)
    assert (read.version, read.body) == (1, b'{"stage":"loading"}')
    (line,) = await lines(store, VISIT.home)
    assert (line.subject, line.fact_id, line.version) == (VISIT, "f1", 1)
    assert line.events == [b'{"kind":"a"}', b'{"kind":"b"}']
    assert await store.deadlines(VISIT) == {"checkpoint": 5_000, "window": 9_000}
    assert await store.waiting(VISIT.home) == 1
    assert await store.get_counters(VISIT.home) == {"nudges": 2, "sent": -1}
    assert await store.homes() == [VISIT.home]
    assert await store.visits(VISIT.home) == [VISIT]


@pytest.mark.parametrize("count", [0, 1, 2, 501, 1001])
async def test_many_snapshots_come_in_the_order_they_were_asked_for(
    store: Store, count: int
) -> None:
    sites = [of_visit("hollowmere", f"site-{n:04}") for n in range(count)]
    made = [decision(NEW, f"f{n}", subject=s, body=b"%d" % n) for n, s in enumerate(sites) if n]
    await asyncio.gather(*(store.commit(c) for c in made))
    assert await store.bodies(sites) == [b"%d" % n if n else b"" for n in range(count)]


async def test_the_same_fact_twice_counts_once(store: Store) -> None:
    made = decision(NEW, "f1", outcome=b"first", counters={"n": 1}, entries=(b"{}",))
    assert await store.commit(made) == Done(1)
    assert await store.commit(made) == Known(b"first")
    assert (await store.load(VISIT)).version == 1
    assert await store.get_counters(VISIT.home) == {"n": 1}
    assert len(await lines(store, VISIT.home)) == 1


async def test_a_known_fact_is_answered_even_when_the_version_has_moved(store: Store) -> None:
    first = decision(NEW, "f1", outcome=b"first")
    await store.commit(first)
    await store.commit(decision(await store.load(VISIT), "f2"))
    assert await store.commit(first) == Known(b"first")


async def test_a_fact_of_one_home_is_not_known_in_another(store: Store) -> None:
    elsewhere = of_cause("c1")
    await store.commit(decision(NEW, "f1"))
    assert await store.commit(decision(NEW, "f1", subject=elsewhere)) == Done(1)


async def test_a_decision_on_an_old_version_writes_nothing_and_gets_the_new(store: Store) -> None:
    await store.commit(decision(NEW, "f1", body=b'{"a":1}', entries=(b"{}",)))
    read = await store.load(VISIT)
    late = decision(NEW, "f2", body=b'{"b":1}', deadlines={"x": 1}, counters={"n": 1})
    assert await store.commit(late) == Stale(read)
    assert await store.load(VISIT) == read
    assert await store.deadlines(VISIT) == {}
    assert await store.get_counters(VISIT.home) == {}
    retried = decision(read, "f2", body=b'{"b":1}')
    assert await store.commit(retried) == Done(2)


async def test_only_one_of_two_decisions_at_once_is_written(store: Store) -> None:
    results = await asyncio.gather(
        *(store.commit(decision(NEW, f"f{n}", counters={"n": 1})) for n in range(20))
    )
    assert sum(isinstance(result, Done) for result in results) == 1
    assert sum(isinstance(result, Stale) for result in results) == 19
    assert await store.get_counters(VISIT.home) == {"n": 1}


async def test_a_hold_makes_decisions_of_the_wave_stale(store: Store) -> None:
    wave = of_wave("hollowmere")
    await store.commit(decision(NEW, "f1"))
    read = await store.load(VISIT)
    await store.commit(decision(NEW, "f2", subject=wave, set_hold=True))
    assert await store.held(wave.home)
    answer = await store.commit(decision(read, "f3"))
    assert isinstance(answer, Stale)
    assert (answer.now.version, answer.now.hold) == (read.version, 1)
    assert await store.commit(decision(answer.now, "f3")) == Done(2)


async def test_the_hold_revision_moves_only_when_the_hold_changes(store: Store) -> None:
    wave = of_wave("hollowmere")
    for n, (held, revision) in enumerate([(False, 0), (True, 1), (True, 1), (False, 2), (True, 3)]):
        await store.commit(decision(await store.load(wave), f"f{n}", subject=wave, set_hold=held))
        assert (await store.load(wave)).hold == revision
        assert await store.held(wave.home) is held


async def test_an_empty_body_marks_the_fact_and_leaves_the_version(store: Store) -> None:
    await store.commit(decision(NEW, "f1", body=b'{"a":1}'))
    read = await store.load(VISIT)
    assert await store.commit(decision(read, "f2", body=b"", outcome=b"seen")) == Done(1)
    assert await store.load(VISIT) == read
    assert await store.commit(decision(NEW, "f2", body=b"")) == Known(b"seen")


async def test_an_empty_body_may_ask_for_no_comparison(store: Store) -> None:
    await store.commit(decision(NEW, "f1"))
    any_version = Commit(
        subject=VISIT, fact_id="f2", version=ANY, hold=0, body=b"", outcome=b"", counters={"n": 1}
    )
    assert await store.commit(any_version) == Done(1)
    assert await store.get_counters(VISIT.home) == {"n": 1}


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"fact_id": ""}, "names no fact"),
        ({"version": ANY}, "without saying what it was read as"),
        (
            {"version": ANY, "body": b"", "deadlines": {"a": 1}},
            "without saying what it was read as",
        ),
        ({"body": b"", "entries": (b"{}",)}, "no new snapshot"),
        ({"deadlines": {"a|b": 1}}, "no bar"),
    ],
)
async def test_a_commit_that_contradicts_itself_is_refused(
    store: Store, change: dict[str, object], sentence: str
) -> None:
    base: dict[str, object] = {
        "subject": VISIT, "fact_id": "f1", "version": 0, "hold": 0, "body": b"{}", "outcome": b""
    }  # fmt: skip
    made = Commit(**{**base, **change})  # type: ignore[arg-type]
    with pytest.raises(ValueError, match=sentence):
        await store.commit(made)
    assert (await store.load(VISIT)).version == 0


async def test_bytes_of_every_kind_come_back_as_they_went(store: Store) -> None:
    body = bytes(range(256)) * 300
    await store.commit(decision(NEW, "f ü|\r\n", body=body, outcome=b"\x00\xff"))
    assert (await store.load(VISIT)).body == body
    assert await store.commit(decision(NEW, "f ü|\r\n")) == Known(b"\x00\xff")


# --- deadlines ------------------------------------------------------------------------


async def test_a_deadline_moves_and_goes_with_its_subject_only(store: Store) -> None:
    other = of_visit("hollowmere", "birch-lane")
    await store.commit(decision(NEW, "f1", deadlines={"check": 10, "window": 20}))
    await store.commit(decision(NEW, "f2", subject=other, deadlines={"check": 15}))
    read = await store.load(VISIT)
    await store.commit(decision(read, "f3", deadlines={"check": 30}, dropped=("window", "none")))
    entries = await store.due(VISIT.home, 100, 10)
    assert [(entry.subject, entry.kind, entry.version, entry.at) for entry in entries] == [
        (other, "check", 1, 15),
        (VISIT, "check", 2, 30),
    ]
    assert entries[1].fact_id == "due:w:hollowmere/v:alder-green:check:2"


async def test_due_gives_the_earliest_and_nothing_of_the_future(store: Store) -> None:
    at = 1_790_000_000_000
    await store.commit(decision(NEW, "f1", deadlines={f"k{n}": at + n for n in range(50)}))
    assert [entry.at - at for entry in await store.due(VISIT.home, at + 20, 10)] == [*range(10)]
    assert len(await store.due(VISIT.home, at + 20, 100)) == 21
    assert await store.due(VISIT.home, at - 1, 10) == []
    assert await store.next_due(VISIT.home) == at
    assert await store.next_due("w:nothing") is None


async def test_a_kind_both_set_and_dropped_is_set(store: Store) -> None:
    await store.commit(decision(NEW, "f1", deadlines={"check": 10}, dropped=("check",)))
    assert await store.deadlines(VISIT) == {"check": 10}


async def test_a_deadline_set_again_at_the_same_time_is_a_new_fact(store: Store) -> None:
    """Without a new snapshot: were the version the same, its fact would be known already."""
    await store.commit(decision(NEW, "f1", deadlines={"check": 10}))
    seen = set()
    for _ in range(3):
        (entry,) = await store.due(VISIT.home, 10, 10)
        seen.add(entry.fact_id)
        read = await store.load(VISIT)
        again = decision(read, entry.fact_id, body=b"", deadlines={"check": 10})
        assert await store.commit(again) == Done(read.version + 1)
    assert len(seen) == 3
    assert (await store.load(VISIT)).body == b"{}"


async def test_a_deadline_whose_fact_cannot_be_decided_is_put_off_and_not_forgotten(
    store: Store,
) -> None:
    await store.commit(decision(NEW, "f1", deadlines={"check": 10, "window": 20}))
    (entry,) = await store.due(VISIT.home, 10, 10)
    await store.put_off(entry, 70)
    assert await store.due(VISIT.home, 10, 10) == []
    assert await store.deadlines(VISIT) == {"check": 70, "window": 20}
    read = await store.load(VISIT)
    await store.commit(decision(read, "f2", deadlines={"check": 30}))
    await store.put_off(entry, 99)  # an older one than now stands: nothing happens
    assert await store.deadlines(VISIT) == {"check": 30, "window": 20}


async def test_rows_of_an_import_wait_until_they_are_live(store: Store) -> None:
    rows = {f"site-{n}": b'{"n":%d}' % n for n in range(1_200)}
    await store.stage(VISIT.home, "i1", rows)
    await store.stage(VISIT.home, "i2", {"x": b"{}"})
    assert await store.staged(VISIT.home, "i1") == rows
    await store.unstage(VISIT.home, "i1")
    assert await store.staged(VISIT.home, "i1") == {}
    assert await store.staged(VISIT.home, "i2") == {"x": b"{}"}


# --- the journal's chain --------------------------------------------------------------


async def test_the_chain_can_be_recomputed_from_the_journal(store: Store) -> None:
    for n in range(5):
        read = await store.load(VISIT)
        await store.commit(decision(read, f"f{n}", entries=(b'{"n":%d}' % n, b'{"x":"\xc3\xbc"}')))
    chain = ""
    for line in await lines(store, VISIT.home):
        chain = chained(chain, str(line.subject), line.fact_id, line.version, line.raw)
        assert line.chain == chain
    assert (await store.load(VISIT)).chain == chain


def test_the_chain_is_sha_256_over_what_the_key_table_says() -> None:
    # FIPS 180-4 through hashlib; the layout of what is hashed is our own.
    expected = hashlib.sha256(b'abc\nw:x/wave\nf1\n7\n[{"a":1}]').hexdigest()
    assert chained("abc", "w:x/wave", "f1", 7, b'[{"a":1}]') == expected
    assert chained("abd", "w:x/wave", "f1", 7, b'[{"a":1}]') != expected


async def test_a_decision_that_forgot_the_chain_is_refused(store: Store) -> None:
    await store.commit(decision(NEW, "f1", entries=(b"{}",)))
    forgot = Commit(subject=VISIT, fact_id="f2", version=1, hold=0, body=b"{}", outcome=b"")
    with pytest.raises(StoreRefused, match=r"Commit\.chain"):
        await store.commit(forgot)
    assert (await store.load(VISIT)).version == 1


async def test_the_journal_is_read_in_pages_and_by_subject(store: Store) -> None:
    other = of_visit("hollowmere", "birch-lane")
    mine, theirs = NEW, NEW
    for n in range(260):
        await store.commit(decision(mine, f"a{n}", entries=(b"{}",)))
        await store.commit(decision(theirs, f"b{n}", subject=other, entries=(b"{}",)))
        mine, theirs = await asyncio.gather(store.load(VISIT), store.load(other))
    assert len(await lines(store, VISIT.home)) == 520
    found = [line.version async for line in store.journal(VISIT.home, other)]
    assert found == [*range(1, 261)]


async def test_settling_and_sending_in_one_commit(store: Store) -> None:
    await store.commit(decision(NEW, "f1", outbox=(message("m1"),)))
    read = await store.load(VISIT)
    settle = Settle(message="m1", thread="site:alder-green", state="sent", stamp="s1", root=True)
    await store.commit(decision(read, "f2", settle=(settle,), outbox=(message("m2"),)))
    heads = await store.ready(VISIT.home, 10, wave=0, process=0)
    assert [head.message.id for head in heads] == ["m2"]
    assert (await store.thread_info(VISIT.home, "site:alder-green")).root == "s1"
