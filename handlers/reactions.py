"""Marks that people put on our messages (a thumbs-up, a tick), taken as if typed.

Only a mark of the contact or deputy, on a message that puts or repeats the open question, means
anything; the model has the stamps of those. Taking a mark away again changes nothing.

Sources: "reaction_added", https://docs.slack.dev/reference/events/reaction_added; a message's
``reactions`` (name, users) in https://docs.slack.dev/reference/methods/conversations.replies.
The platform's names of the marks are from memory.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from bot.desk import Desk
from bot.model.fact import Said
from handlers.clock import Now
from handlers.routing import visits_of

#: The platform's names, without skin tones, and the character that people would type.
MARKS = {
    "+1": "\N{THUMBS UP SIGN}",
    "thumbsup": "\N{THUMBS UP SIGN}",
    "ok": "\N{SQUARED OK}",
    "ok_hand": "\N{OK HAND SIGN}",
    "eyes": "\N{EYES}",
    "white_check_mark": "\N{WHITE HEAVY CHECK MARK}",
    "heavy_check_mark": "\N{HEAVY CHECK MARK}",
    "ballot_box_with_check": "\N{BALLOT BOX WITH CHECK}",
    "sos": "\N{SQUARED SOS}",
    "fire": "\N{FIRE}",
}


@dataclass(frozen=True)
class Reaction:
    """A mark of a person on a message."""

    channel: str
    stamp: str  # of the message it was put on
    user: str
    name: str

    @property
    def words(self) -> str:
        return MARKS.get(self.name.partition("::")[0], "")

    def fact_id(self, team: str) -> str:
        return f"react:{team}:{self.channel}:{self.stamp}:{self.user}:{self.name}"


def in_event(event: Mapping[str, Any], bot_user: str) -> Reaction | None:
    """The mark in an event, where it is one of a person on a message of ours."""
    item = event.get("item") or {}
    if item.get("type") != "message" or event.get("item_user") != bot_user:
        return None
    user = str(event.get("user") or "")
    if user in ("", bot_user):
        return None
    return Reaction(str(item["channel"]), str(item["ts"]), user, str(event.get("reaction") or ""))


def on_message(message: Mapping[str, Any], channel: str, bot_user: str) -> Iterator[Reaction]:
    """The marks on a message of ours that is read back."""
    if message.get("user") != bot_user:
        return
    for mark in message.get("reactions") or ():
        for user in mark.get("users") or ():
            if user != bot_user:
                name = str(mark.get("name") or "")
                yield Reaction(channel, str(message["ts"]), str(user), name)


class Reactions:
    """Brings marks in. ``team`` is the workspace's id."""

    def __init__(self, desk: Desk, now: Now, team: str) -> None:
        self._desk, self._now, self._team = desk, now, team

    async def seen(self, reaction: Reaction) -> None:
        """Raises ``StoreError``: then it has to come again."""
        if not reaction.words:
            return
        for subject, visit in await visits_of(self._desk, reaction.user):
            question = visit.question
            if question is None or reaction.stamp not in question.stamps:
                continue
            await self._desk.receive(
                Said(
                    id=reaction.fact_id(self._team),
                    subject=subject,
                    received_at=self._now(),
                    actor=self._desk.surroundings.roster.actor(reaction.user),
                    words=reaction.words,
                    about=reaction.stamp,
                )
            )
