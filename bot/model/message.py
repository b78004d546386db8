"""Messages: what leaves through the outbox. Stored as template and arguments, never as text."""

from typing import Literal

import msgspec

Way = Literal["chat", "page", "mail", "webhook", "fact", "index"]

#: Order in which the sender picks: a smaller number goes first.
ESCALATION, ANSWER, NUDGE, BOARD = 0, 1, 2, 3


class Button(msgspec.Struct, frozen=True, gc=False, omit_defaults=True):
    """``action`` comes back with the press; ``label`` is a key of the catalogue."""

    action: str
    label: str
    style: Literal["", "primary", "danger"] = ""


class Message(msgspec.Struct, frozen=True, gc=False, kw_only=True, omit_defaults=True):
    """One thing to be sent, at least once, of which one copy remains.

    ``thread`` is the place and the unit of order: ``site:SITE`` (the visit's thread),
    ``esc:SITE`` or ``esc:WAVE`` (a call's thread in the escalation channel), ``wave``
    (root of the wave's channel), ``user:USER`` (direct message), ``mail:ADDRESS``,
    ``page:SITE`` (the contact's page, by the way ``page``), ``hook:NAME:...`` (an outgoing
    webhook of the settings, by the way ``webhook``); for the ways ``fact`` and ``index``
    it is ``relay``.

    ``args`` values are text, or references the sender resolves: ``@p:PERSON:FIELD`` is
    personal data. Instants are given as decimal milliseconds; the template says how they
    are shown (``{start:time}``), in the zone ``tz``. What is as by default is not stored: a default
    that changes would change what waits in an outbox.
    """

    id: str  # "<subject>:<version>:<n>", unique
    way: Way = "chat"
    thread: str
    template: str
    args: dict[str, str] = {}
    buttons: tuple[Button, ...] = ()
    lang: str = "en"
    tz: str = "UTC"
    catalogue: int = 1  # version of the catalogue it was written for
    urgency: int = ANSWER
    root: bool = False  # posted at the channel's root; the thread hangs below it
    slot: str = ""  # not empty: edited in place under this name, e.g. "pin"
    rev: int = 0  # revision of a message that is edited in place
    key: str = ""  # an unsent older message of the thread with the same key is dropped
    not_after: int | None = None  # wave time after which it is no longer worth sending
    beside: tuple[str, ...] = ()  # texts said below it in the same message, by their keys
    fact: bytes = b""  # way "fact": the follow-up fact as JSON
    made_at: int = 0  # wave time of the decision
    to: str = ""  # mail and webhook: the person of the team whose button its link stands for
