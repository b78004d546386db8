"""Facts: what the outside tells the desk. Handlers translate into these and nothing else.

All instants are milliseconds since 1970-01-01 UTC, in wave time. ``received_at`` decides;
``claimed_at`` is what the sender says and is only shown.
"""

from typing import Literal

import msgspec

from bot.model.subject import Subject

Role = Literal["contact", "deputy", "oncall", "admin", "stranger"]
#: ``mirror``: the team's copy of a private conversation.
Place = Literal["thread", "channel", "direct", "mirror"]
#: What came with a message instead of words, or beside them; empty: nothing.
Media = Literal["", "voice", "picture", "file"]


class Fact(
    msgspec.Struct, frozen=True, gc=False, kw_only=True, tag_field="fact", omit_defaults=True
):
    """Base of all facts. ``id`` makes it count once; ``subject`` is whom it concerns."""

    id: str
    subject: Subject
    received_at: int
    claimed_at: int | None = None


class Actor(msgspec.Struct, frozen=True, gc=False, omit_defaults=True):
    """Who did it. ``oncall``/``admin`` come from the roster; contact or deputy is the visit's."""

    user: str
    oncall: bool = False
    admin: bool = False


# --- from people ---------------------------------------------------------------------


class Said(Fact, frozen=True, kw_only=True, tag="said"):
    """Words written by a person; ``edited`` when they changed an older message.

    ``claimed_at`` orders what one person wrote in one thread, and says whether it was typed
    before our question could be seen (both stamps are of the platform's clock). Nothing else
    is decided by it.
    """

    actor: Actor
    words: str
    place: Place = "thread"
    edited: bool = False
    stamp: str = ""  # the platform's name of the message, opaque here
    files: tuple[str, ...] = ()  # titles of files that came with it
    media: Media = ""
    before: str = ""  # of an edit: the words as they were, where the platform says so
    about: str = ""  # of a reaction: the stamp of the message it was put on
    photo: str = ""  # under which key a photo from the page lies, among the personal data


class Deleted(Fact, frozen=True, kw_only=True, tag="deleted"):
    """A person's message was deleted. ``of`` is the id of the fact that brought it."""

    actor: Actor
    of: str


class Joined(Fact, frozen=True, kw_only=True, tag="joined"):
    """A person came into the channel in which the visit's thread lies."""

    actor: Actor


class Pressed(Fact, frozen=True, kw_only=True, tag="pressed"):
    """A button. ``action`` is what it was made with, e.g. ``a:q7:done`` or ``e:e1:take``."""

    actor: Actor
    action: str
    stamp: str = ""


class Ordered(Fact, frozen=True, kw_only=True, tag="ordered"):
    """A command of an admin or on-call: hold, resume, restart, release, close, ..."""

    actor: Actor
    order: str
    args: dict[str, str] = {}


class AccountChanged(Fact, frozen=True, kw_only=True, tag="account"):
    """A chat account was disabled, enabled or renamed."""

    user: str
    disabled: bool
    name: str = ""


# --- from units ----------------------------------------------------------------------


Report = Literal["registered", "lost", "alive", "progress"]


class Registered(Fact, frozen=True, kw_only=True, tag="registered"):
    """What a unit, or who manages it, reports. ``serial`` as sent; compared after normalisation.

    ``digest`` stands for all that was sent: the same id with another one is another event.
    """

    serial: str
    source: str
    kind: Report = "registered"
    detail: dict[str, str] = {}
    digest: str = ""
    progress: str = ""  # progress type of RFC 8572
    message: str = ""  # what the unit says of it
    outside: bool = False  # it came from none of the site's networks
    choices: tuple[str, ...] = ()  # where it may belong instead (model.kept.Choice)
    closed: bool = False  # the wave of its visit is over


# --- from ourselves ------------------------------------------------------------------


class Due(Fact, frozen=True, kw_only=True, tag="due"):
    """A deadline came. ``kind`` names it, ``version`` is the subject's when it was set."""

    kind: str
    version: int


class Delivered(Fact, frozen=True, kw_only=True, tag="delivered"):
    """The outbox's message ``message`` (revision ``rev``) was confirmed by the other side."""

    message: str
    template: str
    thread: str
    channel: str = ""
    stamp: str = ""
    rev: int = 0
    slot: str = ""
    root: bool = False  # it opened the thread


class Undeliverable(Fact, frozen=True, kw_only=True, tag="undeliverable"):
    """The message can never be delivered this way (a dead letter); ``why`` is the error."""

    message: str
    template: str
    thread: str
    why: str


class Gap(Fact, frozen=True, kw_only=True, tag="gap"):
    """We, the store or the chat were away from ``since`` to ``until`` (wave time)."""

    since: int
    until: int
    why: Literal["bot", "store", "chat"]


class Told(Fact, frozen=True, kw_only=True, tag="told"):
    """A follow-up from another subject: ``what`` happened there, with its particulars."""

    source: Subject
    what: str
    args: dict[str, str] = {}


class Planned(Fact, frozen=True, kw_only=True, tag="planned"):
    """An import gives or renews the plan of a visit; ``plan`` is its JSON (model.plan)."""

    plan: bytes
    actor: Actor | None = None


AnyFact = (
    Said
    | Deleted
    | Joined
    | Pressed
    | Ordered
    | AccountChanged
    | Registered
    | Due
    | Delivered
    | Undeliverable
    | Gap
    | Told
    | Planned
)
