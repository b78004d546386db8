"""Faults one can order: cut connections, late answers, errors, rate limits."""

import asyncio
from dataclasses import dataclass, field
from typing import Literal

FaultKind = Literal[
    "drop_before", "drop_after", "late", "late_before", "error", "http_500", "rate_limit"
]


@dataclass
class Fault:
    """One ordered fault.

    drop_before: cut the connection without doing the call.
    drop_after: do the call, then cut the connection without an answer.
    late: do the call, then hold the answer until `release()` or for `seconds` of process time.
    late_before: the same, but the call is done only after the wait.
    error: answer `ok: false` with `error`, not done.
    http_500: answer HTTP 500, not done.
    rate_limit: answer HTTP 429 with Retry-After `retry_after` (s), not done.
    """

    kind: FaultKind
    method: str | None = None
    nth: int = 1
    times: int = 1
    error: str = "internal_error"
    retry_after: int = 30
    seconds: float | None = None
    seen: int = 0
    fired: int = 0
    reached: asyncio.Event = field(default_factory=asyncio.Event)
    released: asyncio.Event = field(default_factory=asyncio.Event)

    def release(self) -> None:
        self.released.set()

    async def hold(self) -> None:
        """Wait until released, or for the given seconds of process time."""
        try:
            await asyncio.wait_for(self.released.wait(), self.seconds)
        except TimeoutError:
            return

    def _matches(self, method: str) -> bool:
        if self.method is not None and self.method != method:
            return False
        self.seen += 1
        return self.nth <= self.seen < self.nth + self.times


class Faults:
    """The list of ordered faults. The first that matches a call is played."""

    def __init__(self) -> None:
        self.ordered: list[Fault] = []

    def add(
        self,
        kind: FaultKind,
        method: str | None = None,
        *,
        nth: int = 1,
        times: int = 1,
        error: str = "internal_error",
        retry_after: int = 30,
        seconds: float | None = None,
    ) -> Fault:
        """Order a fault for the nth matching call from now (1 = the next), `times` in a row.

        `method` None matches every method. `times=10**9` is a fault that stays.
        """
        fault = Fault(kind, method, nth, times, error, retry_after, seconds)
        self.ordered.append(fault)
        return fault

    def clear(self) -> None:
        """Forget all faults and let held answers go."""
        for fault in self.ordered:
            fault.release()
        self.ordered.clear()

    def next_for(self, method: str) -> Fault | None:
        chosen: Fault | None = None
        for fault in self.ordered:
            if fault._matches(method) and chosen is None:
                chosen = fault
        if chosen is not None:
            chosen.fired += 1
            chosen.reached.set()
        return chosen
