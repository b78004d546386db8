"""One request to the app, and what came of it."""

from dataclasses import dataclass, field
from typing import Literal

from bot.practice.chatserver.answers import Json

DeliveryKind = Literal["event", "interactive", "command"]


@dataclass
class Delivery:
    """One attempt to reach the app.

    ok: acknowledged within three seconds (HTTP 2xx, or its envelope). status None: no
    answer; `reason` then says why, in the words of x-slack-retry-reason. `body` is what was
    answered. `attempt` 0 is the first; `at` is wave time (ms).
    """

    kind: DeliveryKind
    payload: Json = field(default_factory=dict)
    at: int = 0
    attempt: int = 0
    status: int | None = None
    body: str = ""
    ok: bool = False
    reason: str | None = None
    no_retry: bool = False
