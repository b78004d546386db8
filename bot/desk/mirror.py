"""Private mode: a visit's thread lies in a private conversation, with a copy for the team.

The model says everything in the site's thread. Here its messages are turned to the contact's own
conversation, and a copy of each goes to the mirror thread in the wave's channel; so does what the
contact writes and presses there. Links of calls lead to the mirror, which the team can open.
"""

from collections.abc import Iterator

from msgspec.structs import replace

from bot.model.context import Context
from bot.model.fact import AnyFact, Pressed, Said
from bot.model.message import BOARD, Message
from bot.model.people import person_key, text_key
from bot.model.visit.state import Visit


def thread_of(visit: Visit, *, private: bool) -> str:
    """The contact is part of a private thread's name: a new contact never gets the old one's."""
    return f"private:{visit.id}:{visit.contact.user}" if private else f"site:{visit.id}"


def mirrored(
    fact: AnyFact, visit: Visit, answer: str, messages: tuple[Message, ...], context: Context
) -> tuple[Message, ...]:
    """The messages of a decision as they leave in private mode."""
    heard = _heard(fact, visit, answer, context)
    return (*heard, *(out for message in messages for out in _turned(message, visit)))


def _turned(message: Message, visit: Visit) -> Iterator[Message]:
    if message.way not in ("chat", "mail"):
        yield message
        return
    site, mirror = f"@t:w:{visit.wave}/site:{visit.id}", f"@t:w:{visit.wave}/mirror:{visit.id}"
    args = {name: mirror if value == site else value for name, value in message.args.items()}
    message = replace(message, args=args)
    if message.thread != f"site:{visit.id}":
        yield message
        return
    yield replace(message, thread=thread_of(visit, private=True))
    if message.template == "team_says":  # it stands in the mirror, where it was written
        return
    yield replace(
        message,
        id=f"{message.id}m",
        thread=f"mirror:{visit.id}",
        buttons=(),
        key="",
        urgency=max(message.urgency, BOARD),
        not_after=None,
    )


def _heard(fact: AnyFact, visit: Visit, answer: str, context: Context) -> Iterator[Message]:
    """What the contact wrote or pressed, for the team to read."""
    if not visit.thread or answer in ("stale", "not_yours", "repeat"):
        return
    if isinstance(fact, Said) and fact.place not in ("channel", "mirror"):
        words = (
            f"@p:{person_key(fact.actor.user)}:{text_key(fact.id)}"
            if fact.words or fact.files
            else "@x:none"
        )
        template, told = "mirror_said", words
    elif isinstance(fact, Pressed) and not fact.action.startswith("e:"):
        template, told = "mirror_pressed", f"@x:{_label(fact.action, context)}"
    else:
        return
    yield Message(
        id=f"{fact.subject}:{context.version + 1}:0m",
        thread=f"mirror:{visit.id}",
        template=template,
        args={"who": f"@p:{person_key(fact.actor.user)}:name", "told": told},
        tz=visit.site.tz,
        urgency=BOARD,
        made_at=fact.received_at,
    )


def _label(action: str, context: Context) -> str:
    value = action.split(":", 2)[2]
    if value.startswith("light:"):
        return context.book.patterns[value.removeprefix("light:")].means
    return f"b_{value}"
