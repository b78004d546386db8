"""What a subject with calls offers to those who decide about them."""

from typing import NamedTuple, Protocol

from bot.model.calls import event as e
from bot.model.calls.state import Call, find
from bot.model.context import Context
from bot.model.message import Button
from bot.model.roster import Staff


class Background(NamedTuple):
    """What was going on when a call was raised; a call may end the open question."""

    asked: str = ""
    asked_at: int | None = None
    tried: str = ""


class CallHolder(Protocol):
    """What a subject with calls offers; ``bot.model.visit.turn.Turn`` is one."""

    @property
    def at(self) -> int: ...
    @property
    def context(self) -> Context: ...
    @property
    def calls(self) -> tuple[Call, ...]: ...
    def emit_call(self, event: e.CallEvent) -> None: ...
    def next_id(self, letter: str) -> str: ...
    def background(self) -> "Background": ...
    def post_call(
        self,
        call: Call,
        template: str,
        *,
        buttons: tuple[Button, ...] = (),
        root: bool = False,
        **args: str | int,
    ) -> str:
        """In the call's thread in the team's channel; gives the message's id, as the next two."""

    def mail_call(self, call: Call, person: Staff, template: str) -> str:
        """By mail, with a link that stands for the button to take it, where a person has ways."""

    def hook_call(self, call: Call, person: Staff, target: str, template: str) -> str:
        """By the outgoing webhook ``target``, with such a link."""

    def say_privately(self, user: str, template: str, call: Call) -> None: ...
    def on_unanswered(self, call: Call) -> None:
        """The whole ladder was climbed once and nobody took it."""


def as_now(turn: CallHolder, call: Call) -> Call:
    found = find(turn.calls, call.id)
    assert found is not None
    return found
