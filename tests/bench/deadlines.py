"""Deadlines: setting and cancelling against a scheduler's own job store, and firing.

    python -m tests.bench.deadlines [--units N] [--drain N]

(a) Set and cancel, one at a time and many together as the desk does it, against adds and removals
of APScheduler's job store on the same store with the same sync. (b) Due entries through sweep, desk
and commit, against our own intake (cold) in the same run. (c) ``--drain`` entries due at one
instant, half of them calls, half nudges: how long until all are in, and what came first.
"""

import argparse
import asyncio
import contextlib
import os
import sys
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import redis
import uvloop
from apscheduler.job import Job
from apscheduler.jobstores.redis import RedisJobStore
from apscheduler.schedulers.background import BackgroundScheduler
from apscheduler.triggers.date import DateTrigger
from msgspec.structs import replace

from bot.app import Bot
from bot.model.policy import MINUTE
from bot.model.subject import Subject, of_visit, of_wave
from bot.model.visit.state import Visit
from bot.store.commit import Commit, Done
from bot.store.store import Store
from tests.bench import units
from tests.bench.bench import (
    Failed,
    empty,
    empty_store,
    fresh_store,
    last_line,
    quick_writing,
    sync_micros,
    table,
)
from tests.bench.intake import WAVE, Bench
from tests.bench.server import ours

_TOGETHER = 256


# --- (a) set and cancel ----------------------------------------------------------------


def of_job_store(url: str, count: int) -> float:
    """Adds and removals a second of the scheduler's job store; it knows one at a time only."""
    empty(url)
    with contextlib.closing(redis.Redis.from_url(url)) as known:
        arguments = known.connection_pool.connection_kwargs
        path = arguments.get("path")
    assert path is not None, "the embedded store listens on a socket"
    store = RedisJobStore(unix_socket_path=path)
    scheduler = BackgroundScheduler(timezone=UTC)
    store.start(scheduler, "bench")
    jobs = list(_jobs(scheduler, count))
    since = time.perf_counter()
    for job in jobs:
        store.add_job(job)
    for job in jobs:
        store.remove_job(job.id)
    spent = time.perf_counter() - since
    store.shutdown()
    return 2 * count / spent


def _jobs(scheduler: BackgroundScheduler, count: int) -> Iterator[Job]:
    at = datetime(2026, 10, 20, 18, tzinfo=UTC)
    for number in range(count):
        job = Job(
            scheduler,
            id=f"s{number:06}:nudge",
            func="builtins:print",
            args=(f"s{number:06}",),
            kwargs={},
            name="nudge",
            trigger=DateTrigger(at + timedelta(seconds=number), UTC),
            executor="default",
            misfire_grace_time=None,
            coalesce=True,
            max_instances=1,
        )
        job._modify(next_run_time=at + timedelta(seconds=number))  # as a scheduler does
        yield job


async def of_ours(url: str, count: int, *, together: int) -> float:
    """Sets and cancels a second of our commits, that many under way at once."""
    async with empty_store(url) as store:
        await store.add_home(of_wave(WAVE).home)
        subjects = [of_visit(WAVE, units.name(n)[0]) for n in range(count)]
        since = time.perf_counter()
        for change in (_set, _cancel):
            for start in range(0, count, together):
                part = subjects[start : start + together]
                if together == 1:
                    await change(store, part[0])
                else:
                    await asyncio.gather(*(change(store, subject) for subject in part))
        spent = time.perf_counter() - since
        left = await store.next_due(of_wave(WAVE).home)
        if left is not None:
            raise Failed("a deadline that was cancelled is still there")
    return 2 * count / spent


async def _set(store: Store, subject: Subject) -> None:
    await _commit(store, _commit_of(subject, "set", 0, deadlines={"nudge": 1_800_000_000_000}))


async def _cancel(store: Store, subject: Subject) -> None:
    await _commit(store, _commit_of(subject, "cancel", 1, dropped=("nudge",)))


def _commit_of(
    subject: Subject,
    what: str,
    version: int,
    deadlines: dict[str, int] | None = None,
    dropped: tuple[str, ...] = (),
) -> Commit:
    return Commit(
        subject=subject,
        fact_id=f"{what}:{subject}",
        version=version,
        hold=0,
        body=b"",
        outcome=b"ok",
        deadlines=deadlines or {},
        dropped=dropped,
    )


async def _commit(store: Store, commit: Commit) -> None:
    if not isinstance(await store.commit(commit), Done):
        raise Failed("a commit of this measurement was not taken")


# --- (b) and (c): firing ---------------------------------------------------------------


def waiting(number: int, at: int, *, silent: bool) -> Visit:
    """A visit whose nudge is due at ``at``; ``silent``: it was nudged, and its window is over."""
    visit = units.copy(WAVE, number)
    question = visit.question
    assert question is not None
    length = question.window if silent else question.checkpoint
    moved: Visit = replace(
        visit,
        deputy=None,
        question=replace(question, asked_at=at - length, nudge_at=None, nudged=silent),
    )
    return moved


async def fired(url: str, count: int, *, calls: bool) -> tuple[float, bool]:
    """Seconds until ``count`` entries due at one instant are in, and whether calls came first."""
    at = units.now() + 5 * MINUTE
    async with empty_store(url) as store:
        visits = [waiting(n, at, silent=calls and n % 2 == 1) for n in range(count)]
        with quick_writing(url):
            await units.lay(store, visits)
        bot, _ = await ours(url, at)
        try:
            spent = await _sweep(bot, at, count)
        finally:
            await bot.stop()
        kinds = [
            b"call" if b'"raised"' in line.raw else b"nudge"
            async for line in store.journal(of_wave(WAVE).home)
        ]
    if len(kinds) != count:
        raise Failed(f"{count} entries were due, {len(kinds)} came to the journal")
    wanted = count // 2 if calls else 0
    if kinds.count(b"call") != wanted:
        raise Failed(f"{wanted} calls were due, {kinds.count(b'call')} came to the journal")
    return spent, kinds == sorted(kinds)


async def _sweep(bot: Bot, at: int, count: int) -> float:
    since = time.perf_counter()
    done = await bot.sweep.run(at)
    spent = time.perf_counter() - since
    if done != count:
        raise Failed(f"{count} entries were due, {done} were brought in")
    return spent


# --- all of it -------------------------------------------------------------------------


async def measure(args: argparse.Namespace) -> dict[str, object]:
    count = args.units
    async with fresh_store() as url:
        jobs = of_job_store(url, count)
        single = await of_ours(url, count, together=1)
        many = await of_ours(url, count, together=_TOGETHER)
        intake = (await Bench(url, count).ours()).result.rate
        alone, _ = await fired(url, count, calls=False)
        drain, first = await fired(url, args.drain, calls=True)
    fire = count / alone
    table(
        [
            ["", "a second", "ratio"],
            ["job store, one at a time", round(jobs), ""],
            ["ours, one at a time", round(single), single / jobs],
            [f"ours, {_TOGETHER} together", round(many), many / jobs],
            ["our intake, cold", round(intake), ""],
            ["due entries through desk and commit", round(fire), fire / intake],
        ]
    )
    print(f"{args.drain} due at once were in after {drain:.1f} s; calls first: {first}")
    return {
        "cores": os.cpu_count(),
        "sync_us": sync_micros(),
        "units": count,
        "ratio_set_single": single / jobs,
        "ratio_set": many / jobs,
        "ratio_fire": fire / intake,
        "drain": args.drain,
        "drain_s": drain,
        "escalations_first": first,
    }


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.bench.deadlines", description=__doc__)
    parser.add_argument("--units", type=int, default=4_000, help="entries in each measurement")
    parser.add_argument("--drain", type=int, default=10_000, help="entries due at one instant")
    args = parser.parse_args(arguments)

    try:
        figures = uvloop.run(measure(args))
    except Failed as error:
        print(f"{error}.", file=sys.stderr)
        return 1
    last_line(figures)
    return 0


if __name__ == "__main__":
    sys.exit(main())
