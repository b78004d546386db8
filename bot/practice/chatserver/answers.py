"""Refusals of the chat platform's Web API, and the arguments of one call."""

import json
from dataclasses import dataclass, field
from typing import Any

Json = dict[str, Any]


class Refused(Exception):
    """The call is refused: answered HTTP 200 with `ok: false` and this error word.

    Source: "Evaluating responses", https://docs.slack.dev/apis/web-api/
    """

    def __init__(self, error: str, *messages: str, **extra: Any) -> None:
        super().__init__(error)
        self.error = error
        self.messages = list(messages)
        self.extra = extra

    def answer(self) -> Json:
        body: Json = {"ok": False, "error": self.error, **self.extra}
        if self.messages:
            body["response_metadata"] = {"messages": [f"[ERROR] {m}" for m in self.messages]}
        return body


class RateLimited(Exception):
    """Too many calls: answered HTTP 429 with Retry-After, in whole seconds of wave time.

    Source: "Rate limits", https://docs.slack.dev/apis/web-api/rate-limits
    """

    def __init__(self, retry_after: int) -> None:
        super().__init__(f"ratelimited, retry after {retry_after} s")
        self.retry_after = retry_after


@dataclass(frozen=True)
class Args:
    """Arguments of one call, whether they came as JSON, as a form or in the query."""

    values: Json = field(default_factory=dict)

    def has(self, name: str) -> bool:
        return self.values.get(name) is not None

    def text(self, name: str, default: str = "") -> str:
        value = self.values.get(name)
        if value is None:
            return default
        if isinstance(value, bool | dict | list):
            raise Refused("invalid_arguments", f"{name} must be a string")
        return str(value)

    def flag(self, name: str, default: bool = False) -> bool:
        value = self.values.get(name)
        if value is None:
            return default
        if isinstance(value, bool):
            return value
        return str(value).lower() in {"1", "true"}

    def number(self, name: str, default: int) -> int:
        value = self.values.get(name)
        if value is None or value == "":
            return default
        try:
            return int(value)
        except (TypeError, ValueError):
            raise Refused("invalid_arguments", f"{name} must be a number") from None

    def structure(self, name: str, error: str) -> Any:
        """A structured argument: JSON itself, or JSON text inside a form field."""
        value = self.values.get(name)
        if isinstance(value, str):
            try:
                return json.loads(value)
            except ValueError:
                raise Refused(error, f"{name} is not valid JSON") from None
        return value
