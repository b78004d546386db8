"""Sends to the app, and resends events that were not acknowledged.

Source: "The Events API", https://docs.slack.dev/apis/events-api/ ("Responding to events":
2xx within three seconds; "Retries": nearly immediately, after 1 minute, after 5 minutes;
x-slack-retry-num and x-slack-retry-reason; x-slack-no-retry: 1 turns retries off). Presses
and commands are not resent (https://docs.slack.dev/interactivity/handling-user-interaction).
"""

import asyncio
import heapq
import itertools
from collections.abc import Callable

from bot.practice.chatserver.answers import Json
from bot.practice.chatserver.attempt import Delivery, DeliveryKind
from bot.practice.chatserver.transport import Transport

ACK_SECONDS = 3.0
RETRY_AFTER = (0, 60_000, 300_000)  # ms of wave time after the attempt that failed

_Due = tuple[int, int, Json, int, str]


class Sender:
    """Redeliveries wait in wave time until `deliver_due`. `clock` gives wave time in ms."""

    def __init__(self, clock: Callable[[], int], transport: Callable[[], Transport]) -> None:
        self.clock = clock
        self.transport = transport
        self.ack_seconds = ACK_SECONDS
        self.retry_after: tuple[int, ...] = RETRY_AFTER
        self.in_flight = 0
        self.lost: list[Json] = []
        self.log: list[Delivery] = []
        self._due: list[_Due] = []
        self._order = itertools.count()

    @property
    def waiting(self) -> int:
        return len(self._due)

    def next_due(self) -> int | None:
        """Wave time (ms) of the earliest redelivery, None when there is none."""
        return self._due[0][0] if self._due else None

    async def deliver_due(self, now: int) -> int:
        """Send the redeliveries due at `now` (ms), side by side; how many were sent."""
        ready = []
        while self._due and self._due[0][0] <= now:
            ready.append(heapq.heappop(self._due))
        sends = [self.event(payload, attempt, why) for _, _, payload, attempt, why in ready]
        await asyncio.gather(*sends)
        return len(ready)

    async def event(self, payload: Json, attempt: int = 0, why: str | None = None) -> Delivery:
        """Send an event; when it is not acknowledged, keep its redelivery."""
        delivery = await self.send("event", payload, attempt, why)
        if delivery.ok or delivery.no_retry:
            return delivery
        if attempt >= len(self.retry_after):
            self.lost.append(payload)
            return delivery
        self._keep(payload, attempt + 1, self.clock() + self.retry_after[attempt], delivery.reason)
        return delivery

    def _keep(self, payload: Json, attempt: int, due: int, reason: str | None) -> None:
        entry = (due, next(self._order), payload, attempt, reason or "unknown_error")
        heapq.heappush(self._due, entry)

    async def send(
        self, kind: DeliveryKind, payload: Json, attempt: int = 0, why: str | None = None
    ) -> Delivery:
        """One attempt."""
        delivery = Delivery(kind, payload, at=self.clock(), attempt=attempt)
        self.log.append(delivery)
        self.in_flight += 1
        try:
            await self.transport().carry(delivery, why, self.ack_seconds)
        finally:
            self.in_flight -= 1
        return delivery

    def snapshot(self) -> list[Json]:
        return [
            {"due": due, "payload": payload, "attempt": attempt, "reason": reason}
            for due, _, payload, attempt, reason in sorted(self._due)
        ]

    def restore(self, entries: list[Json]) -> None:
        self._due.clear()
        for entry in entries:
            self._keep(entry["payload"], entry["attempt"], entry["due"], entry["reason"])
