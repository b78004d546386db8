"""Any order of commits, claims, releases and settlements: the server does what plain Python says.

Every step is made on both, and everything that can be read is compared after each.
"""

import asyncio
import contextlib
from typing import Any

import pytest
import redis
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    rule,
    run_state_machine_as_test,
)

from bot.model.message import Message
from bot.model.subject import Subject
from bot.store.commit import ANY, Commit, Loaded, Settle
from bot.store.store import Store
from tests.store.reference import Reference

HOME = "w:hollowmere"
NAMES = ["wave", "v:alder-green"]
THREADS = ["site:alder-green", "wave", "relay"]
KINDS = ["checkpoint", "window"]
TIMES = st.integers(0, 20)

deadlines = st.dictionaries(st.sampled_from(KINDS), TIMES, max_size=2)
messages = st.builds(
    Message,
    id=st.sampled_from([f"m{n}" for n in range(12)]),
    thread=st.sampled_from(THREADS),
    template=st.just("hello"),
    urgency=st.integers(0, 3),
    key=st.sampled_from(["", "", "nudge", "later"]),
    slot=st.sampled_from(["", "", "pin"]),
    rev=st.integers(0, 3),
    made_at=TIMES,
)
settles = st.builds(
    Settle,
    message=st.sampled_from([f"m{n}" for n in range(12)]),
    thread=st.sampled_from(THREADS),
    state=st.sampled_from(["sent", "dead", "dropped"]),
    channel=st.sampled_from(["", "C1"]),
    stamp=st.sampled_from(["1.1", "2.2"]),
    slot=st.sampled_from(["", "pin"]),
    rev=st.integers(0, 3),
    root=st.booleans(),
    why=st.sampled_from(["", "channel_not_found"]),
)


class StoreMachine(RuleBasedStateMachine):
    url = ""
    cluster = False

    def __init__(self) -> None:
        super().__init__()
        self.runner = asyncio.Runner()
        self.reference = Reference()
        self.made: list[Commit] = []

    @initialize()
    def empty(self) -> None:
        with contextlib.closing(redis.Redis.from_url(self.url)) as client:
            client.flushall()
        self.store = Store(self.url, cluster=self.cluster)

    def teardown(self) -> None:
        self.wait(self.store.close())
        self.runner.close()

    def wait(self, work: Any) -> Any:
        return self.runner.run(work)

    def both(self, c: Commit) -> None:
        assert self.wait(self.store.commit(c)) == self.reference.commit(c)

    @rule(
        name=st.sampled_from(NAMES),
        behind=st.sampled_from([0, 0, 0, 1]),
        body=st.sampled_from([b'{"a":1}', b'{"b":2}', b""]),
        entries=st.lists(st.sampled_from([b'{"e":1}', b'{"e":2}']), max_size=2),
        deadlines=deadlines,
        dropped=st.lists(st.sampled_from(KINDS), unique=True),
        outbox=st.lists(messages, max_size=4),
        settle=st.lists(settles, max_size=3),
        counters=st.dictionaries(st.sampled_from("ab"), st.integers(-3, 3), max_size=2),
        held=st.sampled_from([None, None, True, False]),
    )
    def commit(
        self, name: str, behind: int, body: bytes, entries: list[bytes], held: bool | None,
        deadlines: dict[str, int], dropped: list[str], outbox: list[Message],
        settle: list[Settle], counters: dict[str, int],
    ) -> None:  # fmt: skip
        now = self.reference.load(name)
        made = Commit(
            subject=Subject(HOME, name),
            fact_id=f"f{len(self.made)}",
            version=max(0, now.version - behind),
            hold=now.hold,
            chain=now.chain,
            body=body,
            outcome=b"outcome %d" % len(self.made),
            entries=tuple(entries) if body else (),
            deadlines=deadlines,
            dropped=tuple(kind for kind in dropped if kind not in deadlines),
            outbox=tuple(outbox),
            settle=tuple(settle),
            counters=counters,
            set_hold=held,
        )
        self.made.append(made)
        self.both(made)

    @rule(pick=st.integers(0, 1_000))
    def repeat(self, pick: int) -> None:
        if self.made:
            self.both(self.made[pick % len(self.made)])

    @rule(name=st.sampled_from(NAMES), wrong_hold=st.integers(0, 3))
    def commit_on_a_hold_that_may_have_moved(self, name: str, wrong_hold: int) -> None:
        now = self.reference.load(name)
        made = Commit(
            subject=Subject(HOME, name), fact_id=f"f{len(self.made)}", version=now.version,
            hold=wrong_hold, chain=now.chain, body=b"{}", outcome=b"",
        )  # fmt: skip
        self.made.append(made)
        self.both(made)

    @rule(name=st.sampled_from(NAMES), difference=st.integers(1, 3))
    def mark_without_comparison(self, name: str, difference: int) -> None:
        made = Commit(
            subject=Subject(HOME, name), fact_id=f"f{len(self.made)}", version=ANY, hold=0,
            body=b"", outcome=b"", counters={"any": difference},
        )  # fmt: skip
        self.made.append(made)
        self.both(made)

    @rule(thread=st.sampled_from(THREADS), head=st.booleans(), now=TIMES, lease=st.integers(1, 9))
    def claim(self, thread: str, head: bool, now: int, lease: int) -> None:
        queue = self.reference.unsent(thread)
        message = queue[0 if head else -1].message.id if queue else "m0"
        answer = self.store.claim(HOME, thread, message, process=now, lease_until=now + lease)
        expected = self.reference.claim(thread, message, now, now + lease)
        assert self.wait(answer) == expected

    @rule(thread=st.sampled_from(THREADS), until=TIMES, doubt=st.booleans())
    def release(self, thread: str, until: int, doubt: bool) -> None:
        queue = self.reference.unsent(thread)
        message = queue[0].message.id if queue else "m0"
        self.wait(
            self.store.release(HOME, thread, message, not_before=until, why="busy", doubt=doubt)
        )
        self.reference.release(thread, message, until, "busy", doubt)

    @rule(settle=settles)
    def settle(self, settle: Settle) -> None:
        self.wait(self.store.settle(HOME, (settle,)))
        self.reference.settle((settle,))

    @rule(thread=st.sampled_from(THREADS))
    def settle_the_head(self, thread: str) -> None:
        queue = self.reference.unsent(thread)
        if queue:
            self.settle(Settle(message=queue[0].message.id, thread=thread, state="sent", stamp="9"))

    @invariant()
    def all_that_can_be_read_is_equal(self) -> None:
        self.wait(self.compare())

    async def compare(self) -> None:
        store, expected = self.store, self.reference
        for name in NAMES:
            subject = Subject(HOME, name)
            assert await store.load(subject) == expected.load(name)
            mine = {
                kind: at for (whose, kind), (at, _) in expected.deadlines.items() if whose == name
            }
            assert await store.deadlines(subject) == mine
        due = await store.due(HOME, 10, 100)
        assert [entry.at for entry in due] == sorted(entry.at for entry in due)
        assert {(entry.subject.name, entry.kind): (entry.at, entry.version) for entry in due} == {
            key: value for key, value in expected.deadlines.items() if value[0] <= 10
        }
        for thread in THREADS:
            assert await store.unsent(HOME, thread, 100) == expected.unsent(thread)
            assert await store.thread_info(HOME, thread) == expected.places.get(
                thread, type(await store.thread_info(HOME, "none"))()
            )
        for wave, process in ((0, 0), (5, 5), (30, 30)):
            ready = await store.ready(HOME, 100, wave=wave, process=process)
            assert [head.message.thread for head in ready] == expected.ready(wave, process)
        assert await store.waiting(HOME) == sum(map(len, expected.threads.values()))
        assert await store.get_counters(HOME) == expected.counters
        assert {letter.message.id: letter for letter in await store.dead_letters(HOME)} == (
            expected.dead
        )
        assert await store.held(HOME) is bool(expected.hold % 2)
        journal = [
            (line.subject.name, line.fact_id, line.version) async for line in store.journal(HOME)
        ]
        assert journal == expected.journal
        assert await store.names(HOME) == sorted(expected.subjects)


@pytest.mark.parametrize("kind", ["plain", "cluster"])
def test_the_store_does_what_plain_python_says(kind: str, request: pytest.FixtureRequest) -> None:
    clustered = kind == "cluster"
    fixture = "cluster_url" if clustered else "store_url"

    class Machine(StoreMachine):
        url = request.getfixturevalue(fixture)
        cluster = clustered

    run_state_machine_as_test(
        Machine,
        settings=settings(
            max_examples=60 if not clustered else 15,
            stateful_step_count=25,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )


def test_the_comparison_can_fail() -> None:
    """A reference that forgets a fact is not equal to one that does not."""
    made = Commit(
        subject=Subject(HOME, "wave"), fact_id="f1", version=0, hold=0, body=b"{}", outcome=b""
    )
    first, second = Reference(), Reference()
    assert first.commit(made) == second.commit(made)
    second.facts.clear()
    assert first.commit(made) != second.commit(made)
    assert first.load("wave") != Loaded(0, b"")
