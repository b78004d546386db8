"""A sample of the kill runs (the whole: ``python -m tests.faults.kills``)."""

import asyncio
from copy import deepcopy
from pathlib import Path

import pytest

from bot.practice.child import Kill
from bot.practice.killing import LATE
from tests.faults.record import Record, differences
from tests.faults.runs import FEW, Run, run, setting

SEED = 11
BOT = (
    Kill("bot", "start.done"),
    Kill("bot", "commit.before", 3),
    Kill("bot", "ack.before", 2),
    Kill("bot", "post.before", 2),
    Kill("bot", "commit.after", 2),
    Kill("bot", "post.after", 2),
    Kill("bot", LATE),
    Kill("bot", "relay.after"),
    Kill("bot", "claim.after"),
    Kill("bot", "sweep.after"),
    Kill("bot", "commit.before", on="registration"),
    Kill("bot", "ack.before", on="person"),
)
STORE = (
    Kill("store", "commit.before", 2),
    Kill("store", "post.after"),
    Kill("store", "claim.during"),
)


@pytest.fixture(scope="module")
def calm(tmp_path_factory: pytest.TempPathFactory) -> Run:
    """The undisturbed run."""
    return asyncio.run(run(setting(SEED, FEW), tmp_path_factory.mktemp("k") / "calm", []))


@pytest.mark.slow
async def test_a_killed_bot_and_a_killed_store_change_nothing(calm: Run, tmp_path: Path) -> None:
    kills = [
        kill for pair in zip(BOT, (*STORE, *[None] * 99), strict=False) for kill in pair if kill
    ]
    rough = await run(setting(SEED, FEW), tmp_path / "d", kills, gap=4)
    died = [death.kill for death in rough.ended.deaths]
    assert sum(kill.what == "bot" for kill in died) >= 12, died
    assert sum(kill.what == "store" for kill in died) == 3, died
    assert set(kills) <= set(died)
    assert calm.record.problems == rough.record.problems == []
    assert differences(calm.record, rough.record) == []
    assert rough.record.copies == 0
    assert rough.record.lost == 0
    assert sum(death.extra for death in rough.ended.deaths) == rough.ended.removed > 0


def test_the_undisturbed_run_says_something(calm: Run) -> None:
    """Else two empty records would be equal."""
    record = calm.record
    assert record.problems == []
    assert set(record.states.values()) == {"done"}
    assert all(len(events) > 50 for events in record.visits.values())
    templates = {line[1] for lines in record.threads.values() for line in lines}
    assert {"root", "invite", "pin", "call", "wave_held", "call_private"} <= templates
    assert len(record.aside) == 1


def _later(record: Record) -> None:
    (at, *rest), *others = record.threads["site:s00001"]
    record.threads["site:s00001"] = [(at + 1, *rest), *others]


def _missing(record: Record) -> None:
    record.visits["s00002"].pop()


def _swapped(record: Record) -> None:
    lines = record.threads["site:s00003"]
    lines[2], lines[3] = lines[3], lines[2]


def _unlisted(record: Record) -> None:
    record.aside.clear()


@pytest.mark.parametrize("harm", [_later, _missing, _swapped, _unlisted])
def test_a_difference_shows(calm: Run, harm: object) -> None:
    assert callable(harm)
    other = deepcopy(calm.record)
    assert differences(calm.record, other) == []
    harm(other)
    assert len(differences(calm.record, other)) == 1
