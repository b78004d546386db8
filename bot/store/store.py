"""The store: load a subject, commit a decision, see what is due."""

from collections import OrderedDict
from collections.abc import AsyncIterator
from typing import cast

import msgspec

from bot.model.rank import rank
from bot.model.subject import Subject
from bot.store import keys
from bot.store.base import number, texts
from bot.store.commit import Commit, Done, Known, Loaded, Result, Stale
from bot.store.index import Index
from bot.store.link import Options
from bot.store.outbox import Outbox
from bot.store.pack import commit_call
from bot.store.pagelog import PageLog
from bot.store.probe import Probe, nothing
from bot.store.staging import Staging
from bot.store.wire import commands

_events = msgspec.json.Decoder(list[msgspec.Raw])
_PAGE = 500
#: Counters of messages: counted as they go, and no sums over visits.
NOT_DERIVED = frozenset({"sent", "dead"})


class DueEntry(msgspec.Struct, frozen=True, gc=False):
    """A deadline. ``version`` is the subject's when it was set, ``at`` is wave time, ms."""

    subject: Subject
    kind: str
    version: int
    at: int

    @property
    def member(self) -> str:
        return keys.member(self.subject.name, self.kind, self.version)

    @property
    def rank(self) -> int:
        """A smaller number goes first, however many are due."""
        return rank(self.kind)

    @property
    def fact_id(self) -> str:
        return f"due:{self.subject}:{self.kind}:{self.version}"


class JournalLine(msgspec.Struct, frozen=True, gc=False):
    """What one commit wrote into the journal. ``raw`` is the JSON array the chain was made on."""

    id: str
    subject: Subject
    fact_id: str
    version: int
    chain: str
    raw: bytes

    @property
    def events(self) -> list[bytes]:
        return [bytes(event) for event in _events.decode(self.raw)]


class Store(Outbox, Index, PageLog, Staging):
    """Every call raises ``StoreAway`` when the outcome is unknown, ``StoreRefused`` when the
    server answered and will not do it. Nothing is retried here."""

    def __init__(
        self,
        url: str,
        *,
        cluster: bool = False,
        options: Options | None = None,
        probe: Probe = nothing,
    ) -> None:
        super().__init__(url, cluster=cluster, options=options, probe=probe)
        self._homes: frozenset[str] = frozenset()
        self._lately = OrderedDict()

    async def load(self, subject: Subject) -> Loaded:
        """The subject as it stands; version 0 when it does not exist."""
        k = keys.of(subject.home)
        key = k.subject(subject.name)
        call = commands(key, ("HMGET", key, "ver", "body", "chain"), ("GET", k.hold))
        (version, body, chain), hold = cast(
            "tuple[tuple[bytes, bytes, bytes], bytes]", await self._reads.submit(call)
        )
        return Loaded(int(version or 0), body or b"", int(hold or 0), (chain or b"").decode())

    async def bodies(self, subjects: list[Subject]) -> list[bytes]:
        """The snapshots of subjects of one home, many with one call; empty where there is none."""
        bodies: list[bytes] = []
        for start in range(0, len(subjects), _PAGE):
            found = [keys.of(s.home).subject(s.name) for s in subjects[start : start + _PAGE]]
            call = commands(found[0], *[("HGET", key, "body") for key in found])
            answer = await self._reads.submit(call)
            several = answer if len(found) > 1 else [answer]
            bodies += [body or b"" for body in cast("list[bytes | None]", several)]
        return bodies

    async def knows(self, home: str, fact_id: str) -> bool:
        """Whether a fact of that id was committed there, in the last 72 hours."""
        key = keys.of(home).fact(fact_id)
        return bool(await self._read(key, "EXISTS", key))

    async def commit(self, c: Commit) -> Result:
        """Write a decision as a whole, once for its fact id.

        Raises ``ValueError`` for a commit that contradicts itself.
        """
        call = commit_call(c)
        if c.subject.home not in self._homes:
            # First, so that a home with deadlines is never one that nobody sweeps.
            await self.add_home(c.subject.home)
        self._probe("commit.before")
        answer = await self._writes.submit(call)
        self._probe("commit.after")
        return _result(cast("list[object]", answer))

    async def add_home(self, home: str) -> None:
        await self._write(keys.HOMES, "SADD", keys.HOMES, home)
        self._homes |= {home}

    async def homes(self) -> list[str]:
        """Homes that anything was ever committed to, sorted."""
        return sorted(texts(await self._read(keys.HOMES, "SMEMBERS", keys.HOMES)))

    async def names(self, home: str) -> list[str]:
        """Names of the home's subjects, sorted."""
        k = keys.of(home)
        return sorted(texts(await self._read(k.names, "SMEMBERS", k.names)))

    async def subjects_of(self, home: str) -> list[Subject]:
        """All subjects of a home, sorted by name."""
        return [Subject(home, name) for name in await self.names(home)]

    async def visits(self, home: str) -> list[Subject]:
        """The visits of a wave, sorted by site."""
        return [Subject(home, name) for name in await self.names(home) if name.startswith("v:")]

    async def due(self, home: str, now: int, limit: int) -> list[DueEntry]:
        """Deadlines at or before ``now`` (wave time, ms), the earliest first."""
        k = keys.of(home)
        answer = await self._read(
            k.due, "ZRANGE", k.due, "-inf", now, "BYSCORE", "LIMIT", 0, limit, "WITHSCORES"
        )
        flat = cast("list[bytes]", answer)
        return [
            _due(home, member.decode(), number(at))
            for member, at in zip(flat[::2], flat[1::2], strict=True)
        ]

    async def next_due(self, home: str) -> int | None:
        """The wave time of the earliest deadline; None when there is none."""
        k = keys.of(home)
        found = cast("list[bytes]", await self._read(k.due, "ZRANGE", k.due, 0, 0, "WITHSCORES"))
        return number(found[1]) if found else None

    async def deadlines(self, subject: Subject) -> dict[str, int]:
        """The subject's deadlines: kind -> wave time, ms."""
        k = keys.of(subject.home)
        key = k.subject(subject.name)
        flat = cast("list[bytes]", await self._read(key, "HGETALL", key))
        members = {f[2:]: m for f, m in zip(flat[::2], flat[1::2], strict=True) if f[:2] == b"d:"}
        if not members:
            return {}
        found = await self._read(k.due, "ZMSCORE", k.due, *members.values())
        scores = zip(members, cast("list[bytes | None]", found), strict=True)
        return {kind.decode(): number(at) for kind, at in scores if at is not None}

    async def put_off(self, entry: DueEntry, until: int) -> None:
        """Look at a deadline again at ``until`` (wave time, ms): its fact could not be decided.

        Nothing happens when a commit has moved or dropped it meanwhile.
        """
        key = keys.of(entry.subject.home).due
        await self._write(key, "ZADD", key, "XX", until, entry.member)

    async def held(self, home: str) -> bool:
        """Whether the wave is held."""
        k = keys.of(home)
        return number(await self._read(k.hold, "GET", k.hold)) % 2 == 1

    async def get_counters(self, home: str) -> dict[str, int]:
        k = keys.of(home)
        flat = texts(await self._read(k.counters, "HGETALL", k.counters))
        return {name: int(value) for name, value in zip(flat[::2], flat[1::2], strict=True)}

    async def set_counters(self, home: str, counters: dict[str, int]) -> None:
        """Put derived counters in place of what stands there; names not given stay, at 0 if sums.

        Only for a rebuild: a commit adds to counters.
        """
        k = keys.of(home)
        kept = await self.get_counters(home)
        values = {n: 0 for n in kept if n not in NOT_DERIVED} | counters
        if values:
            flat = [part for pair in values.items() for part in pair]
            await self._write(k.counters, "HSET", k.counters, *flat)

    async def journal(
        self, home: str, subject: Subject | None = None
    ) -> AsyncIterator[JournalLine]:
        """The journal from its beginning, in the order of the commits."""
        k = keys.of(home)
        start = "-"
        while True:
            answer = await self._read(k.journal, "XRANGE", k.journal, start, "+", "COUNT", _PAGE)
            page = cast("list[tuple[bytes, list[bytes]]]", answer)
            for stamp, flat in page:
                line = _line(home, stamp.decode(), flat)
                if subject is None or line.subject == subject:
                    yield line
            if len(page) < _PAGE:
                return
            start = "(" + page[-1][0].decode()


def _result(answer: list[object]) -> Result:
    if answer[0] == 0:
        return Done(cast("int", answer[1]))
    if answer[0] == 1:
        return Known(cast("bytes", answer[1]))
    _, version, body, hold, chain = answer
    return Stale(
        Loaded(
            cast("int", version),
            cast("bytes", body),
            cast("int", hold),
            cast("bytes", chain).decode(),
        )
    )


def _due(home: str, member: str, at: int) -> DueEntry:
    name, kind, version = member.split("|")
    return DueEntry(Subject(home, name), kind, int(version), at)


def _line(home: str, stamp: str, flat: list[bytes]) -> JournalLine:
    fields = dict(zip(flat[::2], flat[1::2], strict=True))
    return JournalLine(
        id=stamp,
        subject=Subject(home, fields[b"s"].decode()),
        fact_id=fields[b"f"].decode(),
        version=int(fields[b"v"]),
        chain=fields[b"h"].decode(),
        raw=fields[b"e"],
    )
