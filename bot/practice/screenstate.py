"""What a rehearsal's screen knows: every visit as last committed, and the order of the sites."""

from dataclasses import dataclass

import msgspec

from bot.model.board import Board, board, late_by, state_of
from bot.model.policy import MINUTE
from bot.model.visit.state import Visit
from bot.model.wave.state import Wave
from bot.practice.house import House
from bot.practice.screenlog import Chronicle
from bot.store.commit import Commit

_visit = msgspec.json.Decoder(Visit)
_wave = msgspec.json.Decoder(Wave)


@dataclass(frozen=True)
class Row:
    """One site's line in the table. ``minutes`` and ``late`` are whole minutes; -1: none."""

    site: str
    unit: str
    state: str
    stage: str
    minutes: int
    late: int
    call: str


class Watched:
    """Follows the bot's commits, so that nothing has to be read from the store to show it."""

    def __init__(self, house: House) -> None:
        self.house = house
        self.chronicle = Chronicle(house)
        self._visits: dict[str, Visit] = {}
        self._fresh: dict[str, bytes] = {}  # snapshots that nobody has asked for yet
        self.wave: Wave | None = None
        self._newest: dict[str, int] = {}  # site -> when it last changed, as a count of commits
        self._commits = 0

    async def start(self) -> None:
        """Take what is there, then follow."""
        self.wave = await self.house.wave_state()
        self.house.bot.desk.on_commit.append(self._committed)

    def stop(self) -> None:
        hooks = self.house.bot.desk.on_commit
        if self._committed in hooks:
            hooks.remove(self._committed)

    def _committed(self, commit: Commit) -> None:
        self._commits += 1
        if not commit.body or commit.subject.wave != self.house.wave:
            return
        if commit.subject.kind == "wave":
            self.wave = _wave.decode(commit.body)
        elif commit.subject.kind == "visit":
            self._fresh[commit.subject.site] = commit.body
            self._newest[commit.subject.site] = self._commits

    # --- to be shown -----------------------------------------------------------------------

    @property
    def visits(self) -> dict[str, Visit]:
        """All visits by site, as last committed."""
        for site, body in self._fresh.items():
            self._visits[site] = _visit.decode(body)
        self._fresh.clear()
        return self._visits

    @property
    def now(self) -> int:
        return self.house.clock.now()

    def board(self) -> Board:
        return board(self.visits.values(), self.now, self.house.bot.book)

    def newest_first(self) -> list[str]:
        return sorted(self.visits, key=lambda site: (-self._newest.get(site, 0), site))

    def row(self, site: str) -> Row:
        visit, now = self.visits[site], self.now
        question = visit.question
        late = late_by(visit, now) // MINUTE
        return Row(
            site=site,
            unit=_units(visit, question.unit if question else ""),
            state=state_of(visit),
            stage=question.stage if question else "",
            minutes=_minutes(visit, now),
            late=late or -1,
            call=_call(visit),
        )


def _units(visit: Visit, asked: str) -> str:
    """The unit in hand and how many more there are at the site."""
    shown = asked or (visit.units[0].serial if visit.units else "")
    more = len(visit.units) - 1
    return f"{shown} +{more}" if more > 0 else shown


def _minutes(visit: Visit, now: int) -> int:
    """Since the open question was delivered."""
    question = visit.question
    if question is None or question.asked_at is None:
        return -1
    return (now - question.asked_at) // MINUTE


def _call(visit: Visit) -> str:
    """The gravest open call, as its cause."""
    grave = ("critical", "major", "minor", "warning")
    found = sorted(visit.open_calls, key=lambda call: grave.index(call.severity))
    return found[0].cause if found else ""
