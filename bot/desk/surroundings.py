"""What decisions may look at: runbook, people, habits, and where the wave stands."""

from collections.abc import Callable
from typing import Any

import msgspec
from msgspec.structs import replace

from bot.desk.kinds import KINDS
from bot.desk.mirror import Talk, mirror_of, thread_of
from bot.model.board import Board, board
from bot.model.context import Context
from bot.model.fact import AnyFact, Due, Ordered, Planned, Pressed, Said, Told
from bot.model.handover import Handover, handover, last_day
from bot.model.lexicon import Lexicon
from bot.model.policy import Policy
from bot.model.roster import Roster
from bot.model.rota.tested import reachable
from bot.model.runbook import Runbook
from bot.model.subject import ROTA
from bot.model.visit.ready_gaps import BEFORE
from bot.model.visit.state import Visit
from bot.model.wave.state import Wave
from bot.store.commit import Loaded
from bot.store.store import Store

_visits = msgspec.json.Decoder(Visit)


class Surroundings:
    """Data around the subjects. ``roster`` may be replaced while running.

    ``worded``: a handover in lines for the team, where it is to be posted. ``wakeable``: whether
    the people on call can be reached by more than chat.
    """

    def __init__(
        self,
        *,
        book: Runbook,
        lexicons: dict[str, Lexicon],
        policy: Policy,
        roster: Roster,
        may_open: Callable[[Roster, int], bool] = lambda roster, at: roster.staffed(at),
        private: bool = False,
        pages: bool = False,
        code_key: bytes = b"",
        worded: Callable[[Handover, Roster], list[str]] | None = None,
        chat_alone: bool = False,
    ) -> None:
        self.book = book
        self.lexicons = lexicons
        self.policy = policy
        self.roster = roster
        self._may_open = may_open
        self.talk = Talk(private, pages)
        self.code_key = code_key
        self._worded = worded
        self._chat_alone = chat_alone  # who is reached by chat alone counts as reachable

    def thread_of(self, visit: Visit) -> str:
        """The outbox's name of the thread in which a visit talks to its contact."""
        return thread_of(visit, private=self.talk.private)

    def mirror_of(self, visit: Visit) -> str:
        """That of the thread in which the team has a copy, where it cannot see the other."""
        return mirror_of(visit, private=self.talk.private)

    async def context(self, store: Store, fact: AnyFact, loaded: Loaded, state: Any) -> Context:
        """What the decision about ``fact`` may look at; ``state`` is its subject as loaded."""
        subject = fact.subject
        summary: Board | None = None
        after: Handover | None = None
        said: list[str] = []
        neighbours = 0
        if subject.kind == "wave" and isinstance(fact, Due) and fact.kind == "pin":
            summary = await self.board(store, subject.home, fact.received_at)
        elif subject.kind == "wave" and isinstance(fact, Due) and fact.kind == "handover":
            after, said = await self.handover(store, subject.home, fact.received_at)
        elif subject.kind == "visit" and _may_call(fact):
            counters = await store.get_counters(subject.home)
            neighbours = counters.get("calling", 0)
        return Context(
            book=self.book,
            lexicons=self.lexicons,
            policy=self.policy,
            roster=self.roster,
            version=loaded.version,
            held=loaded.hold % 2 == 1,
            code_key=self.code_key,
            handover=after,
            handover_lines=tuple(said),
            neighbours=neighbours,
            board=summary,
            reachable=await self._reachable(store, fact, state),
            may_open=subject.kind == "wave" and self._may_open(self.roster, fact.received_at),
        )

    async def _reachable(self, store: Store, fact: AnyFact, state: Any) -> bool | None:
        """Whether somebody whose on-call turn it is has a way tested in this shift; looked at
        where it may decide something."""
        if not self.roster.tested or not _may_start(fact, state):
            return None
        rota = KINDS["rota"].read((await store.load(ROTA)).body)
        return reachable(rota, self.roster, fact.received_at, chat_alone=self._chat_alone)

    async def visits(self, store: Store, home: str) -> list[Visit]:
        """All visits of a wave, as they stand."""
        bodies = await store.bodies(await store.visits(home))
        return [_visits.decode(body) for body in bodies if body]

    async def board(self, store: Store, home: str, at: int) -> Board:
        return board(await self.visits(store, home), at, self.book)

    async def handover(self, store: Store, home: str, at: int) -> tuple[Handover, list[str]]:
        """The last evening of a wave and what is not settled, also in words for the team."""
        found = handover(await self.visits(store, home), self.book, at).since(last_day(at))
        return found, self._worded(found, self.roster) if self._worded else []

    async def expand(self, store: Store, fact: AnyFact) -> list[AnyFact]:
        """A fact for every visit of the wave; a staged import becomes the plan of each row."""
        home = fact.subject.home
        if isinstance(fact, Told) and fact.what == "staged":
            rows = await store.staged(home, fact.args["staged"])
            return [
                Planned(
                    id=f"{fact.id}/{site}",
                    subject=replace(fact.subject, name=f"v:{site}"),
                    received_at=fact.received_at,
                    plan=plan,
                )
                for site, plan in sorted(rows.items())
            ]
        return [
            replace(fact, id=f"{fact.id}/{subject.site}", subject=subject)
            for subject in await store.visits(home)
        ]

    async def expanded(self, store: Store, fact: AnyFact) -> None:
        """All of them are in: staged rows are no longer needed."""
        if isinstance(fact, Told) and fact.what == "staged":
            await store.unstage(fact.subject.home, fact.args["staged"])


def _may_start(fact: AnyFact, state: Any) -> bool:
    """Whether an evening may begin, or the wave open, go on or be held, by this fact."""
    if isinstance(state, Visit):
        waits = state.state in BEFORE and fact.received_at >= state.start
        return waits and isinstance(fact, (Due, Ordered))
    return isinstance(state, Wave) and isinstance(fact, (Due, Ordered, Told))


def _may_call(fact: AnyFact) -> bool:
    """Whether a call may be made out by this fact, whose text names the neighbours affected."""
    return isinstance(fact, (Said, Pressed)) or (
        isinstance(fact, Due) and fact.kind.startswith("call:")
    )
