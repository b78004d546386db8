"""What a rehearsal shows: nothing, plain lines for a log, or (``screen``) a live screen."""

import sys
from collections.abc import Callable
from datetime import UTC, datetime
from types import TracebackType
from typing import Protocol, Self

from bot.model.visit.state import Visit
from bot.practice.house import House
from bot.practice.rehearsal import Figures
from bot.practice.screenchart import curve, in_marks_of
from bot.practice.screenlog import Chronicle, clock
from bot.practice.screenstate import Watched
from bot.report.words import board_lines, unmarked
from bot.speak.catalogue import standard

_CHART = (60, 5)
#: States whose name in the model says less to a reader.
STATES = {"rebook": "rebooked", "backed_out": "backed out"}


class Show(Protocol):
    """Shown to the person at the terminal, who may end it by ``on_quit``."""

    on_quit: Callable[[], None]

    async def __aenter__(self) -> Self: ...
    async def __aexit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None: ...
    def step(self, now: int) -> None:
        """Wave time stands at ``now``, and all that belongs to it has happened."""

    async def end(self, figures: Figures, thread: str | None, *, hurried: bool) -> None:
        """The rehearsal is over; ``thread``: the unit or site whose thread was asked for.

        ``hurried``: it was stopped from outside, so nothing is asked any more.
        """


class Quiet:
    """Nothing, but a thread that was asked for."""

    def __init__(self, house: House) -> None:
        self.house = house
        self.on_quit: Callable[[], None] = lambda: None
        self.watched = Watched(house)

    async def __aenter__(self) -> Self:
        await self.watched.start()
        return self

    async def __aexit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.watched.stop()

    def step(self, now: int) -> None:
        pass

    async def end(
        self,
        figures: Figures,  # noqa: ARG002
        thread: str | None,
        *,
        hurried: bool,  # noqa: ARG002
    ) -> None:
        if thread:
            print("\n".join(thread_lines(self.house, self.watched.chronicle, thread)))


class Plain(Quiet):
    """One line for each thing that is said, done or registered, and the summary at the end."""

    def __init__(self, house: House) -> None:
        super().__init__(house)
        self.began = house.clock.now()
        self._shown = 0

    async def __aenter__(self) -> Self:
        await super().__aenter__()
        self._introduce()
        return self

    def _introduce(self) -> None:
        day = datetime.fromtimestamp(self.began / 1000, UTC).strftime("%Y-%m-%d")
        units = sum(len(row.units) for row in self.house.rows)
        print(
            f"Rehearsal of wave {self.house.wave}: {units} units at {len(self.house.rows)} sites, "
            f"seed {self.house.world.seed}. It is {day} there; times are UTC.",
            flush=True,
        )

    def step(self, now: int) -> None:  # noqa: ARG002
        chronicle = self.watched.chronicle
        chronicle.catch_up()
        fresh = chronicle.lines[self._shown :]
        if fresh:
            print("\n".join(str(line) for line in fresh), flush=True)
            self._shown = len(chronicle.lines)

    async def end(self, figures: Figures, thread: str | None, *, hurried: bool) -> None:
        self.step(self.house.clock.now())
        print("\n" + "\n".join(summary_lines(self.watched, figures, self.began)), flush=True)
        await super().end(figures, thread, hurried=hurried)


def summary_lines(watched: Watched, figures: Figures, began: int) -> list[str]:
    """Where the wave stands at the end, in words, and the figures."""
    board = watched.board()
    texts = standard().best("en")
    lines = [unmarked(line) for line in board_lines(watched.wave, board, texts)]
    lines += ["", "Units online, over the time of the wave:"]
    lines += chart_lines(watched, began)
    lines += _not_online(watched)
    lines += ["", *figure_lines(figures)]
    return lines


def chart_lines(watched: Watched, began: int) -> list[str]:
    """The online curve with its axes, fit for a terminal of 80 columns."""
    board, now = watched.board(), watched.now
    width, height = _CHART
    rows = curve(board.curve, since=began, until=now, total=board.units, width=width, height=height)
    rows = in_marks_of(sys.stdout.encoding, rows)
    labels = [str(board.units), *[""] * (height - 2), "0"]
    lines = [f"{label:>5} {row}".rstrip() for label, row in zip(labels, rows, strict=True)]
    return [*lines, f"{'':>5} {clock(began):<{width - 8}}{clock(now)}"]


def _not_online(watched: Watched) -> list[str]:
    """Each site with a unit that is not online, and the reason that is on record."""
    texts = standard().best("en")
    lines = []
    for site, visit in sorted(watched.visits.items()):
        off = [unit.serial for unit in visit.units if not unit.online]
        if off:
            causes = ", ".join(texts.say(f"cause_{cause}", {}) for cause in _causes(visit))
            state = STATES.get(visit.state, visit.state)
            lines.append(f"  {site:<16} {' '.join(off):<12} {state}: {causes or 'no call'}")
    return ["", "Not online:", *lines] if lines else []


def _causes(visit: Visit) -> list[str]:
    return list(dict.fromkeys(call.cause for call in visit.calls if call.called_at is not None))


def figure_lines(figures: Figures) -> list[str]:
    visits = ", ".join(f"{count} {STATES.get(s, s)}" for s, count in figures.visits.items())
    return f"""\
units {figures.units}, online {figures.online}, escalated {figures.escalated}, held {figures.held}
registrations {figures.registrations}, events lost {figures.events_lost}, nudges {figures.nudges}
messages sent {figures.messages_sent}, doubled {figures.messages_doubled}
visits: {visits}
{figures.wave_minutes} minutes of the wave in {figures.wall_seconds} s, seed {figures.seed}\
""".split("\n")


def thread_lines(house: House, chronicle: Chronicle, unit: str) -> list[str]:
    """The conversation of one unit's site, as it stands in the chat."""
    contact = house.contact_of(unit)
    if contact is None:
        return [f"No unit or site {unit} is in this wave."]
    said = thread(house, chronicle, contact.site)
    if not said:
        return [f"Nothing was said at {contact.site}."]
    return [f"{at} {who}: {text}" for at, who, text in said]


def thread(house: House, chronicle: Chronicle, site: str) -> list[tuple[str, str, str]]:
    """Time, speaker and words of each message of a site's thread, and of each button pressed."""
    contact = house.world.contacts[site]
    if not contact.channel:
        return []
    chronicle.catch_up()
    server = house.world.server
    found = [
        (float(m["ts"]), str(m.get("user", "")), chronicle.plain(str(m["text"])))
        for m in server.thread(contact.channel, contact.thread)
    ]
    found += chronicle.presses.get((contact.channel, contact.thread), [])
    return [
        (clock(int(at * 1000)), "desk" if user == server.bot_user else chronicle.name(user), text)
        for at, user, text in sorted(found)
    ]
