"""What one commit carries into the store, and what comes back."""

import msgspec

from bot.model.message import Message
from bot.model.subject import Subject

#: As a commit's version: whatever the subject is by now.
ANY = -1


class Loaded(msgspec.Struct, frozen=True, gc=False):
    """A subject as read: ``version`` 0 and empty ``body`` when it does not exist yet.

    ``hold`` is the wave's hold revision (0 for subjects of no wave); odd means held.
    """

    version: int
    body: bytes
    hold: int = 0
    chain: str = ""  # hash of the subject's journal so far; give it back in the commit


class Settle(msgspec.Struct, frozen=True, gc=False, kw_only=True):
    """The end of an outbox message: ``sent`` with the platform's stamp, or ``dead``."""

    message: str
    thread: str
    state: str  # "sent" | "dead" | "dropped"
    channel: str = ""
    stamp: str = ""
    slot: str = ""
    rev: int = 0
    root: bool = False
    why: str = ""  # dead: the error, kept with the dead letter


class Commit(msgspec.Struct, frozen=True, gc=False, kw_only=True):
    """One decision. ``version``, ``hold`` and ``chain`` are what the decision was made on.

    With an empty ``body`` the snapshot stays, and so does the version, unless a deadline is set.
    A ``version`` of ``ANY`` (no body, no deadlines set) asks for no comparison: the fact counts
    once, whatever the subject is by now.
    """

    subject: Subject
    fact_id: str
    version: int
    hold: int
    chain: str = ""
    body: bytes  # the new snapshot, JSON; empty: unchanged (only the fact id is marked)
    unchanged: bool = False  # the body is what stands by then already, and is not written again
    outcome: bytes  # what a repeated fact is answered with
    entries: tuple[bytes, ...] = ()  # journal events, JSON
    deadlines: dict[str, int] = {}  # kind -> wave time ms: set or moved
    dropped: tuple[str, ...] = ()  # kinds of deadlines that are gone
    outbox: tuple[Message, ...] = ()
    settle: tuple[Settle, ...] = ()
    silence: tuple[str, ...] = ()  # threads in which nothing that still waits may be said
    counters: dict[str, int] = {}  # name -> difference
    set_hold: bool | None = None  # wave only: hold or resume (moves the hold revision)


class Done(msgspec.Struct, frozen=True, gc=False):
    """Committed; ``version`` is the subject's new one."""

    version: int


class Known(msgspec.Struct, frozen=True, gc=False):
    """The fact id was committed before; ``outcome`` is what was recorded then."""

    outcome: bytes


class Stale(msgspec.Struct, frozen=True, gc=False):
    """Version or hold moved since the read: nothing written; here is what stands now."""

    now: Loaded


Result = Done | Known | Stale
