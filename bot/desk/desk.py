"""``Desk.receive``: load one subject, let the model decide, commit, retry.

The desk is the only writer of subjects. It answers after the commit and never before; with the
store away it raises ``StoreAway``, and the one who brought the fact brings it again.
"""

import asyncio
import logging
import time
import traceback
from collections.abc import Callable
from typing import Any

import msgspec
from msgspec.structs import replace

from bot.desk.kinds import KINDS, TooNew
from bot.desk.lines import Lines
from bot.desk.mirror import mirrored
from bot.desk.recent import Recent, Seen
from bot.desk.surroundings import Surroundings
from bot.desk.writing import Draft, commit_of
from bot.model.fact import AnyFact, Due, Registered, Said
from bot.model.kept import Kept, KeptAside, of_serial
from bot.model.kept import evolve as evolve_kept
from bot.model.people import person_key, text_key
from bot.model.subject import ASIDE, EVERY, Subject
from bot.model.visit.registering import find_unit
from bot.model.visit.state import Visit
from bot.store.commit import ANY, Commit, Done, Known, Loaded, Stale
from bot.store.errors import StoreAway, StoreRefused
from bot.store.store import Store

TRIES = 5
PATIENCE = 2.0  # seconds of process time in which a fact is retried
_FANOUT = 64
_log = logging.getLogger("musterline.desk")


class Outcome(msgspec.Struct, frozen=True, gc=False):
    """What became of a fact. ``answer`` as in ``Decision``; ``again``: it was known before.

    ``digest`` is that of the fact that was committed: another one is another fact of that id.
    """

    answer: str
    again: bool = False
    digest: str = ""


_UNREAD = object()
_outcomes = msgspec.json.Decoder(Outcome)


class Desk:
    """One per process. ``on_commit`` hears of every commit, to wake whoever waits for it."""

    def __init__(self, store: Store, surroundings: Surroundings) -> None:
        self.store = store
        self.surroundings = surroundings
        self.on_commit: list[Callable[[Commit], None]] = []
        self.busy = 0  # facts being decided now
        self._lines = Lines(PATIENCE)
        self._recent = Recent()

    async def receive(self, fact: AnyFact, seen: Seen | None = None) -> Outcome:
        """Bring ``fact`` in. Raises ``StoreAway`` when its fate is unknown, ``StoreRefused``
        when the store will not take it.

        ``seen``: the fact's subject, if the caller has just looked at it. It may have moved
        since; the commit notices.
        """
        self.busy += 1
        try:
            if fact.subject.site == EVERY:
                return await self._to_every(fact)
            async with self._lines.turn(fact.subject):
                return await self._patiently(fact, seen)
        finally:
            self.busy -= 1

    # --- one subject -------------------------------------------------------------------

    async def _patiently(self, fact: AnyFact, seen: Seen | None) -> Outcome:
        """Retry conflicts and a store that is away, always under the same fact id."""
        began, tries = time.monotonic(), 0
        while True:
            tries += 1
            try:
                answer = await self._once(fact, seen)
            except StoreAway:
                self._recent.forget(fact.subject)
                seen = None
                if tries >= TRIES or time.monotonic() - began > PATIENCE:
                    raise
                await asyncio.sleep(0.05 * 2**tries)
                continue
            if isinstance(answer, Outcome):
                return answer
            seen = answer
            if tries >= TRIES:
                if isinstance(fact, Due):
                    return Outcome("later")  # its entry stands, and the next sweep brings it
                return await self._keep(fact, "it met another decision every time")

    async def _once(self, fact: AnyFact, seen: Seen | None) -> Outcome | Seen:
        """One try; gives what stands now when another decision came first."""
        if isinstance(fact, Said) and (fact.words or fact.files):
            await self._keep_words(fact)
        if seen is None:
            seen = self._recent.get(fact.subject)
        if seen is not None and not seen.sure:
            try:
                answer = await self._try(fact, seen)
            except StoreRefused:  # a server that lost writes may have come to another record
                answer = None
            if answer is not None:
                return answer
            self._recent.forget(fact.subject)
            seen = None
        answer = await self._try(fact, seen or Seen(await self.store.load(fact.subject), _UNREAD))
        assert answer is not None, "what was read is sure"
        return answer

    async def _try(self, fact: AnyFact, seen: Seen) -> Outcome | Seen | None:
        """``None``: by what is remembered nothing comes of it, so what stands must be read."""
        loaded, state, sure = seen
        try:
            if state is _UNREAD:
                state = KINDS[fact.subject.kind].read(loaded.body)
            draft = await self._decide(fact, loaded, state)
        except StoreAway:
            raise
        except TooNew as error:
            raise StoreRefused(str(error)) from error
        except Exception:  # noqa: BLE001 - whatever it is, nothing may block behind this fact
            if not sure:
                return None
            _log.exception("fact %s could not be decided and is kept aside", fact.id)
            return await self._keep(fact, traceback.format_exc(limit=-3))
        if draft is None:
            return await self._unexpected(fact) if sure else None
        commit = commit_of(fact, loaded, draft)
        if commit.version == ANY and not sure:
            return None
        match await self.store.commit(commit):
            case Done(version):
                self._recent.committed(commit, version, draft.decision.after)
                for hook in self.on_commit:
                    hook(commit)
                return Outcome(draft.decision.answer)
            case Known(outcome):
                return replace(_outcomes.decode(outcome), again=True)
            case Stale(now):
                return Seen(now, _UNREAD)

    async def _decide(self, fact: AnyFact, loaded: Loaded, state: Any) -> Draft | None:
        kind = KINDS[fact.subject.kind]
        context = await self.surroundings.context(self.store, fact, loaded, state)
        decision = kind.decide(state, fact, context)
        if decision is None or (decision.answer == "unknown" and isinstance(fact, Registered)):
            return None
        talk, after = self.surroundings.talk, decision.after
        if isinstance(after, Visit) and not talk.plain(after):
            turned = mirrored(fact, after, decision.answer, decision.messages, context, talk)
            decision = replace(decision, messages=turned)
        before, had = kind.deadlines(state, context), kind.tally(state)
        if state is not None and decision.after is state:
            return Draft(decision, before, before, had, had, unchanged=True)
        after = decision.after
        return Draft(decision, before, kind.deadlines(after, context), had, kind.tally(after))

    async def _keep_words(self, fact: Said) -> None:
        """What people write lies with their personal data; the journal holds only where."""
        words = "\n".join((fact.words, *fact.files)).strip()
        await self.store.person_put(person_key(fact.actor.user), {text_key(fact.id): words})

    # --- what fits nowhere --------------------------------------------------------------

    async def _unexpected(self, fact: AnyFact) -> Outcome:
        """No such subject, or no such unit: kept aside, shown, never acted on."""
        if isinstance(fact, Registered) and fact.subject != ASIDE:
            return await self.receive(replace(fact, id=f"{fact.id}/aside", subject=ASIDE))
        return await self._keep(fact, f"there is no {fact.subject}")

    async def _keep(self, fact: AnyFact, why: str) -> Outcome:
        """Put a fact that cannot be brought in onto the kept-aside list, with its trace."""
        if fact.subject == ASIDE:  # its turn it is already
            return await self._keep_in_turn(fact, why)
        async with self._lines.turn(ASIDE):
            return await self._keep_in_turn(fact, why)

    async def _keep_in_turn(self, fact: AnyFact, why: str) -> Outcome:
        event = KeptAside("failed", detail=f"{type(fact).__name__} {fact.id}: {why}"[:2000])
        marked = replace(fact, id=f"{fact.id}/kept", subject=ASIDE)
        for _ in range(TRIES):
            loaded = await self.store.load(ASIDE)
            kept: Kept | None = KINDS["aside"].read(loaded.body)
            after = evolve_kept(kept, event, fact.received_at, fact.id)
            draft = Draft.of(after, (event,), "kept", KINDS["aside"].tally(kept))
            if not isinstance(await self.store.commit(commit_of(marked, loaded, draft)), Stale):
                return Outcome("kept")
        raise StoreAway(f"the kept-aside list is too busy to take {fact.id}")

    async def expects(self, serial: str, subject: Subject) -> int:
        """Bring to a visit what came for ``serial`` before the index knew who expects it.

        A visit is committed before its hints reach the index; a registration that arrives in
        between finds nobody and is kept aside. Whoever writes the index looks there afterwards,
        and whoever keeps one aside looks at the index again: one of the two sees the other. What
        was kept before the visit was planned stays aside. Returns how many were found.
        """
        kept: Kept | None = await self.state(ASIDE)
        if kept is None or not of_serial(kept, serial, 0):
            return 0
        visit = await self.state(subject)
        unit = find_unit(visit, serial) if isinstance(visit, Visit) else None
        if unit is None:
            return 0
        since = max(visit.planned_at, unit.registered_at or 0, unit.lost_at or 0)
        found = of_serial(kept, serial, since)
        for item in found:
            kind: Any = item.detail
            await self.receive(
                Registered(
                    id=item.fact,  # its own: the sender may send it again, and that counts once
                    subject=subject,
                    received_at=item.at,
                    serial=item.serial,
                    source=item.source,
                    kind=kind,
                )
            )
        return len(found)

    # --- every visit of a wave ----------------------------------------------------------

    async def _to_every(self, fact: AnyFact) -> Outcome:
        """A follow-up to all visits of a wave, each under an id of its own; repeats are known."""
        facts = await self.surroundings.expand(self.store, fact)
        for start in range(0, len(facts), _FANOUT):
            await asyncio.gather(*(self.receive(f) for f in facts[start : start + _FANOUT]))
        await self.surroundings.expanded(self.store, fact)
        return Outcome("ok")

    async def state(self, subject: Subject) -> Any:
        """The subject's snapshot as it stands, or ``None``."""
        return (await self.look(subject)).state

    async def glance(self, subject: Subject) -> Seen:
        """As ``look``, or as this process left it; for ``receive``, and for nothing else."""
        return self._recent.get(subject) or await self.look(subject)

    async def look(self, subject: Subject) -> Seen:
        """The subject as the store has it, and its snapshot or ``None``; for ``receive``."""
        loaded = await self.store.load(subject)
        return Seen(loaded, KINDS[subject.kind].read(loaded.body))
