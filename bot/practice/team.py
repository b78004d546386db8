"""The simulated team: whoever is called takes the call, works on it and closes it."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Protocol

from bot.practice.agenda import Agenda
from bot.practice.dice import dice

SECOND = 1_000
#: How a call of a cause ends: seconds of work, and the reason it is closed with.
_ENDS: dict[str, tuple[int, str]] = {
    "danger": (600, "rebook"),
    "help": (240, "fixed"),
    "silent": (300, "rebook"),
    "no_registration": (420, "fixed"),
    "power_twice": (300, "fixed"),
    "held": (300, "rebook"),
    "lost": (300, "fixed"),
    "site_check": (300, "fixed"),
}
_OTHERWISE = (420, "rebook")
#: Calls at which the site goes back to its old unit, where that is offered.
_BACK = ("fault", "dead_line", "back_out", "without_service")


class Chat(Protocol):
    async def press(self, user: str, channel: str, ts: str, action_id: str) -> object: ...
    async def command(self, user: str, channel: str, command: str, text: str) -> object: ...


@dataclass
class Team:
    """Takes what is posted in the team's channel. ``asleep``: users who never answer."""

    seed: int
    chat: Chat
    agenda: Agenda
    now: Callable[[], int]
    admin: str
    channel: str
    command: str
    asleep: frozenset[str] = frozenset()
    cause_of: Callable[[str, str], str] = lambda _subject, _call: ""
    registers: Callable[[str], None] = lambda _subject: None
    taken: dict[str, str] = field(default_factory=dict)

    def sees(self, message: dict[str, Any]) -> None:
        """A message of the bot appeared in the team's channel."""
        mark = message.get("metadata", {}).get("event_payload", {})
        template = str(mark.get("template", "")).removeprefix("wave_")
        subject = str(mark.get("id", "")).rsplit(":", 2)[0]
        for action in _actions(message):
            call = action.split(":")[1]
            if action.endswith(":take") and template in ("call", "call_again"):
                self._take(message, subject, call, action)
        if template == "held":
            self._resume_later()

    def _take(self, message: dict[str, Any], subject: str, call: str, action: str) -> None:
        user = next((u for u in _mentioned(message) if u not in self.asleep), "")
        if not user:
            return
        wait = dice(self.seed, subject, call, "take").randrange(40, 200) * SECOND
        stamp, key = str(message["ts"]), f"{subject}/{call}"

        async def take() -> None:
            if key in self.taken:
                return
            self.taken[key] = user
            await self.chat.press(user, self.channel, stamp, action)

        self.agenda.add(self.now() + wait, key, take)

    def sees_reply(self, message: dict[str, Any]) -> None:
        """A reply in a call's thread: the buttons of whoever took it."""
        mark = message.get("metadata", {}).get("event_payload", {})
        template = str(mark.get("template", "")).removeprefix("wave_")
        subject = str(mark.get("id", "")).rsplit(":", 2)[0]
        actions = _actions(message)
        if not actions:
            return
        call = actions[0].split(":")[1]
        key = f"{subject}/{call}"
        seconds, reason = _ENDS.get(self.cause_of(subject, call), _OTHERWISE)
        back = f"b:{call}:back_out"
        if template == "call_taken" and back in actions and self._goes_back(subject, call):
            self._press(message, key, back, seconds)
        elif template == "call_taken":
            self._press(message, key, f"e:{call}:close", seconds)
            if self.cause_of(subject, call) == "no_registration":
                self.registers(subject)
        elif template == "call_why":
            self._press(message, key, f"e:{call}:close_{reason}", 20)
        elif template.startswith("call_cleared") or template == "call_please_close":
            self._press(message, key, f"e:{call}:close", 60)

    def _goes_back(self, subject: str, call: str) -> bool:
        return self.cause_of(subject, call) in _BACK

    def _press(self, message: dict[str, Any], key: str, action: str, seconds: int) -> None:
        user = self.taken.get(key, self.admin)
        stamp = str(message["ts"])
        if action not in _actions(message):
            return

        async def press() -> None:
            await self.chat.press(user, self.channel, stamp, action)

        self.agenda.add(self.now() + seconds * SECOND, key, press)

    def _resume_later(self) -> None:
        """The admin resumes the wave a while after it was held."""

        async def resume() -> None:
            await self.chat.command(self.admin, self.channel, self.command, "resume")

        self.agenda.add(self.now() + 720 * SECOND, "admin", resume)


def _mentioned(message: dict[str, Any]) -> list[str]:
    text = str(message.get("text", ""))
    return [part.split(">")[0].split("|")[0] for part in text.split("<@")[1:]]


def _actions(message: dict[str, Any]) -> list[str]:
    return [
        str(element["action_id"])
        for block in message.get("blocks", [])
        if block.get("type") == "actions"
        for element in block["elements"]
    ]
