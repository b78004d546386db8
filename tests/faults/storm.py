"""Registrations while things break: ``python -m tests.faults.storm``.

A served bot takes registrations over many connections, as events, batches and progress reports,
each sent until it is answered 2xx, while its store is killed, stopped, made slow or left without
room, the bot itself is killed or ended, and the machine's clock is put. Afterwards the journal is
read: what was answered 2xx must stand there exactly once. Prints a table, and as its last line one
JSON object; the exit code is 0 when nothing was lost or doubled, and nobody was told to give up.
"""

import argparse
import asyncio
import itertools
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import aiohttp
import msgspec

from bot.plan.invented import invented
from bot.plan.rows import SiteRow
from bot.practice.clock import WaveClock
from tests.faults import forms
from tests.faults.breaking import FAULTS, Ground
from tests.faults.forms import FORMS, Form, Sent
from tests.faults.record import import_wave
from tests.faults.served import a_place

_SITES = 40
_SENDERS = 16
_IN_A_BATCH = 4
#: One event in so many is of a serial that no wave expects, and one is sent again once taken.
_STRANGE, _AGAIN = 7, 11
#: After an answer that says "later", and with nobody listening, in seconds.
_PATIENCE = 0.02
_DAY = 86_400_000
#: What tells a sender to come again.
LATER = frozenset({"429", "503", "lost"})


@dataclass
class Phase:
    """What was sent while one kind of thing broke, by the facts that it becomes."""

    fault: str
    times: int
    first: dict[str, float] = field(default_factory=dict)  # fact: when it was first sent
    taken: dict[str, float] = field(default_factory=dict)  # and when it was answered 2xx
    answers: Counter[str] = field(default_factory=Counter)

    @property
    def longest(self) -> float:
        """Seconds from the first sending to the answer, at worst."""
        return max((at - self.first[fact] for fact, at in self.taken.items()), default=0.0)


class Row(msgspec.Struct, frozen=True):
    fault: str
    times: int
    accepted: int
    in_journal: int
    lost: int
    doubled: int
    refused: int  # answers that do not say "come again"
    longest_s: float


class Senders:
    """Device managers, side by side, none of which gives up."""

    def __init__(self, port: int, serials: list[str], chosen: tuple[Form, ...]) -> None:
        self._url = f"http://127.0.0.1:{port}"
        self._forms = chosen
        self._serials = itertools.cycle(serials)
        self._numbers = itertools.count(1)
        self.phase = Phase("", 0)
        self._stop = asyncio.Event()
        self._tasks: list[asyncio.Task[None]] = []
        self._session: aiohttp.ClientSession | None = None

    async def begin(self) -> None:
        self._session = aiohttp.ClientSession(
            trust_env=False,
            connector=aiohttp.TCPConnector(limit=_SENDERS),
            timeout=aiohttp.ClientTimeout(total=10),
        )
        self._tasks = [asyncio.create_task(self._send_on()) for _ in range(_SENDERS)]

    async def end(self) -> None:
        """Every event on its way is sent to its end."""
        self._stop.set()
        await asyncio.gather(*self._tasks)
        if self._session is not None:
            await self._session.close()

    async def _send_on(self) -> None:
        while not self._stop.is_set():
            number, phase = next(self._numbers), self.phase
            sent = self._made(phase, number)
            phase.first |= dict.fromkeys(sent.facts, time.monotonic())
            await self._until_taken(phase, sent)
            phase.taken |= dict.fromkeys(sent.facts, time.monotonic())
            if number % _AGAIN == 0:
                await self._until_taken(phase, sent)

    def _made(self, phase: Phase, number: int) -> Sent:
        name, form = f"{phase.fault}-{number}", self._forms[number % len(self._forms)]
        if form == "batch":
            return forms.batch(name, [self._serial(number + n) for n in range(_IN_A_BATCH)])
        make = forms.report if form == "report" else forms.event
        return make(name, self._serial(number))

    def _serial(self, number: int) -> str:
        return next(self._serials) if number % _STRANGE else f"HML-9{number:05}"

    async def _until_taken(self, phase: Phase, sent: Sent) -> None:
        while True:
            status = await self._once(sent)
            phase.answers[status] += 1
            if status.startswith("2"):
                return
            await asyncio.sleep(_PATIENCE)

    async def _once(self, sent: Sent) -> str:
        assert self._session is not None
        try:
            async with self._session.post(
                f"{self._url}{sent.path}", data=sent.body, headers=sent.headers
            ) as answer:
                status, said = str(answer.status), await answer.read()
        except (aiohttp.ClientError, TimeoutError):
            return "lost"
        return "not all" if status == "200" and not forms.final(said) else status


def _rows() -> list[SiteRow]:
    """Sites whose evening is tomorrow: what happens now is registrations alone."""
    tomorrow = time.time_ns() // 1_000_000 + _DAY
    times = {"start": tomorrow, "end": tomorrow + _DAY // 6}
    return [row.model_copy(update=times) for row in invented(_SITES, 1)]


async def storm(folder: Path, times: dict[str, int], chosen: tuple[Form, ...] = FORMS) -> list[Row]:
    """Each fault so many times, one after another, under load of these forms in turn."""
    rows = _rows()
    async with a_place(
        folder, clock=lambda: time.time_ns() // 1_000_000, more=forms.SETTINGS
    ) as place:
        ground = Ground(place)
        await ground.begin()
        clock = WaveClock(time.time_ns() // 1_000_000)
        await import_wave(place.data, rows, ["CWAVE01"], clock)
        senders = Senders(ground.port, [row.units[0].label for row in rows], chosen)
        await senders.begin()
        phases = []
        for fault, count in times.items():
            phases.append(Phase(fault, count))
            senders.phase = phases[-1]
            await _broken(ground, phases[-1])
        await senders.end()
        facts = await place.registrations()
        return [table_row(phase, _kept(phase, facts)) for phase in phases]


def _kept(phase: Phase, facts: Mapping[str, int]) -> dict[str, int]:
    """``/aside``: what a visit could not take was put aside under that name."""
    return {fact: facts.get(fact, 0) + facts.get(f"{fact}/aside", 0) for fact in phase.taken}


async def _broken(ground: Ground, phase: Phase) -> None:
    """Break it so many times, and each time wait until it takes registrations again."""
    for _ in range(phase.times):
        await _more(phase, 20)
        await FAULTS[phase.fault](ground)
        await _more(phase, 20)


async def _more(phase: Phase, count: int) -> None:
    wanted = len(phase.taken) + count
    async with asyncio.timeout(60):
        while len(phase.taken) < wanted:  # noqa: ASYNC110 - sixteen senders add to it
            await asyncio.sleep(0.01)


def table_row(phase: Phase, kept: Mapping[str, int]) -> Row:
    """``kept``: how often each fact stands in the journal."""
    found = [kept.get(fact, 0) for fact in phase.taken]
    refused = sum(
        count
        for status, count in phase.answers.items()
        if not status.startswith("2") and status not in LATER
    )
    return Row(
        fault=phase.fault,
        times=phase.times,
        accepted=len(phase.taken),
        in_journal=sum(count > 0 for count in found),
        lost=sum(count == 0 for count in found),
        doubled=sum(count > 1 for count in found),
        refused=refused,
        longest_s=round(phase.longest, 2),
    )


def good(rows: list[Row]) -> bool:
    return not any(row.lost or row.doubled or row.refused for row in rows)


def print_table(rows: list[Row]) -> None:
    print(
        f"{'fault':<24}{'times':>6}{'answered 2xx':>14}{'in journal':>12}{'lost':>6}{'doubled':>9}"
        f"{'refused':>9}{'longest, s':>12}"
    )
    for row in rows:
        print(
            f"{row.fault:<24}{row.times:>6}{row.accepted:>14}{row.in_journal:>12}{row.lost:>6}"
            f"{row.doubled:>9}{row.refused:>9}{row.longest_s:>12.2f}"
        )


def main(argv: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--times", type=int, default=10, help="how often each fault comes (10)")
    parser.add_argument("--form", choices=FORMS, help="send in this form alone")
    parser.add_argument("--fault", choices=sorted(FAULTS), help="only this one")
    args = parser.parse_args(argv)
    faults = [args.fault] if args.fault else list(FAULTS)
    chosen = (args.form,) if args.form else FORMS
    with tempfile.TemporaryDirectory(prefix="mu-") as folder:
        rows = asyncio.run(storm(Path(folder), dict.fromkeys(faults, args.times), chosen))
    print_table(rows)
    print(msgspec.json.encode({"faults": rows, "good": good(rows)}).decode())
    if not good(rows):
        print("Something was lost, doubled, or told to give up: see the table.", file=sys.stderr)
    return 0 if good(rows) else 1


if __name__ == "__main__":
    raise SystemExit(main())
