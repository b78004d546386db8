"""What the store promises, as plain Python: one home, nothing concurrent, nothing stored."""

from dataclasses import dataclass, field

from bot.model.message import Message
from bot.store.commit import ANY, Commit, Done, Known, Loaded, Result, Settle, Stale
from bot.store.outbox import Claimed, DeadLetter, NotClaimed, Queued, Thread
from bot.store.pack import chained, events_of


@dataclass
class Item:
    message: Message
    state: str = "queued"
    attempt: int = 0
    why: str = ""


@dataclass
class Reference:
    facts: dict[str, bytes] = field(default_factory=dict)
    subjects: dict[str, Loaded] = field(default_factory=dict)
    hold: int = 0
    journal: list[tuple[str, str, int]] = field(default_factory=list)
    deadlines: dict[tuple[str, str], tuple[int, int]] = field(default_factory=dict)
    threads: dict[str, list[Item]] = field(default_factory=dict)
    places: dict[str, Thread] = field(default_factory=dict)
    busy: dict[str, int] = field(default_factory=dict)
    later: dict[str, int] = field(default_factory=dict)
    counters: dict[str, int] = field(default_factory=dict)
    dead: dict[str, DeadLetter] = field(default_factory=dict)

    def load(self, name: str) -> Loaded:
        kept = self.subjects.get(name, Loaded(0, b""))
        return Loaded(kept.version, kept.body, self.hold, kept.chain)

    def commit(self, c: Commit) -> Result:
        if c.fact_id in self.facts:
            return Known(self.facts[c.fact_id])
        now = self.load(c.subject.name)
        if c.version != ANY and (c.version, c.hold) != (now.version, now.hold):
            return Stale(now)
        self.facts[c.fact_id] = c.outcome
        version = now.version
        if c.body or c.deadlines:
            version += 1
            kept = self.subjects.get(c.subject.name, Loaded(0, b""))
            self.subjects[c.subject.name] = Loaded(version, kept.body, 0, kept.chain)
        if c.body:
            chain = now.chain
            if c.entries:
                raw = events_of(c.entries)
                chain = chained(chain, str(c.subject), c.fact_id, version, raw)
                self.journal.append((c.subject.name, c.fact_id, version))
            self.subjects[c.subject.name] = Loaded(version, c.body, 0, chain)
        for kind in c.dropped:
            self.deadlines.pop((c.subject.name, kind), None)
        for kind, at in c.deadlines.items():
            self.deadlines[c.subject.name, kind] = (at, version)
        self.settle(c.settle)
        for message in c.outbox:
            self._queue(message)
        for name, difference in c.counters.items():
            self.counters[name] = self.counters.get(name, 0) + difference
        if c.set_hold is not None and c.set_hold != bool(self.hold % 2):
            self.hold += 1
        return Done(version)

    def settle(self, settles: tuple[Settle, ...]) -> None:
        for s in settles:
            item = self._find(s.thread, s.message)
            if item is None:
                continue
            if self.threads[s.thread][0] is item:
                self.busy.pop(s.thread, None)
                self.later.pop(s.thread, None)
            self.threads[s.thread].remove(item)
            if s.state == "dead":
                self.dead[s.message] = DeadLetter(item.message, s.why)
            if s.state == "sent":
                self._place(s)

    def _place(self, s: Settle) -> None:
        place = self.places.get(s.thread, Thread())
        slots = dict(place.slots)
        if s.slot and slots.get(s.slot, ("", s.rev))[1] <= s.rev:
            slots[s.slot] = (s.stamp, s.rev)
        root = s.stamp if s.root else place.root
        self.places[s.thread] = Thread(s.channel or place.channel, root, slots)

    def _queue(self, message: Message) -> None:
        queue = self.threads.setdefault(message.thread, [])
        if message.key:
            self._supersede(queue, [i for i in queue if i.message.key == message.key][-1:])
        if message.slot:
            newest = [i for i in queue if i.message.slot == message.slot][-1:]
            if newest and newest[0].message.rev > message.rev:
                return
            self._supersede(queue, newest)
        if not any(item.message.id == message.id for item in queue):
            queue.append(Item(message))

    def _supersede(self, queue: list[Item], older: list[Item]) -> None:
        for item in older:
            if item.state == "queued":
                queue.remove(item)
        if not queue and older:
            self.busy.pop(older[0].message.thread, None)
            self.later.pop(older[0].message.thread, None)

    def claim(self, thread: str, message: str, now: int, until: int) -> Claimed | NotClaimed:
        item = self._find(thread, message)
        if item is None:
            return "gone"
        if self.threads[thread][0] is not item:
            return "behind"
        if self.busy.get(thread, 0) > now:
            return "taken"
        doubt = item.state == "sending"
        item.state = "sending"
        item.attempt += 1
        self.busy[thread] = until
        return Claimed(item.attempt, doubt)

    def release(self, thread: str, message: str, not_before: int, why: str, doubt: bool) -> None:
        item = self._find(thread, message)
        if item is None or item.state != "sending":
            return
        item.state = "sending" if doubt else "queued"
        item.why = why
        self.busy.pop(thread, None)
        self.later[thread] = not_before

    def ready(self, wave: int, process: int) -> list[str]:
        """Threads that may be sent to, the most urgent first; equal ones by name."""
        free = [
            thread
            for thread, queue in self.threads.items()
            if queue and self.later.get(thread, 0) <= wave and self.busy.get(thread, 0) <= process
        ]
        return sorted(free, key=lambda thread: (self._urgency(thread), thread))

    def unsent(self, thread: str) -> list[Queued]:
        lease = self.busy.get(thread, 0)
        return [
            Queued(i.message, i.state, i.attempt, lease, i.why)  # type: ignore[arg-type]
            for i in self.threads.get(thread, [])
        ]

    def _urgency(self, thread: str) -> tuple[int, int]:
        return min((i.message.urgency, i.message.made_at) for i in self.threads[thread])

    def _find(self, thread: str, message: str) -> Item | None:
        return next((i for i in self.threads.get(thread, []) if i.message.id == message), None)
