"""Every key of the store is built here and nowhere else.

What is written together lies under one hash tag, so that one script may touch it (one slot of a
clustered server). ``HOME`` is ``Subject.home``: ``w:WAVE``, ``c:ID``, ``rota``, ``aside``,
``ch:ID``.

=====================  ======  ==============================================================
key                    type    what it holds
=====================  ======  ==============================================================
{HOME}:s:NAME          hash    a subject: ``ver``, ``body`` (snapshot, JSON), ``chain`` (hex), and
                               ``d:KIND``: the deadline's member of ``due``
{HOME}:f:FACT          string  outcome of a fact that was committed; 72 hours
{HOME}:hold            string  hold revision of the wave; odd means held
{HOME}:mark            string  written when a known fact comes again, so that WAIT covers it
{HOME}:names           set     names of the home's subjects
{HOME}:j               stream  journal: s subject, f fact, v version, h chain, e events (JSON)
{HOME}:due             zset    deadlines: ``NAME|KIND|VERSION`` at wave time, ms
{HOME}:n               hash    counters
{HOME}:q:THREAD        list    ids of unsent messages, in order
{HOME}:o:THREAD        hash    ``b:ID`` message, ``s:ID`` its state, ``k:KEY``/``e:SLOT`` newest
{HOME}:t:THREAD        hash    thread: ``channel``, ``root`` stamp, ``slot:NAME`` "stamp rev"
{HOME}:ready           zset    threads with something to send, by urgency, then age
{HOME}:later           zset    threads that wait after a passing error, until a wave time, ms
{HOME}:busy            zset    threads whose head is being sent, until a process time, ms
{HOME}:doubt           zset    threads where a message was sent in doubt, since when, ms
{HOME}:dead            hash    dead letters: id -> thread, why, message
{ix:N}:KIND:VALUE      set     index of 64 shards: serial, thread, user -> subjects
{homes}                set     homes that exist
{HOME}:stage:NAME      hash    rows of an import that are not live yet: site -> plan (JSON)
{HOME}:page:SITE       hash    what stands on a contact's page: message id -> message (JSON)
{p:ID}                 hash    one person's data, apart from everything else
{ch:ID}:lease          string  who may send to a channel now; runs out by itself
{ws}:b:NAME            hash    a rate limit shared by all processes: ``left``, ``at``
{sim}:clock            string  wave clock of a rehearsal, ms
{alive}                string  when a bot was last alive, ms
{note}:NAME            string  small things worth keeping, such as the bot's identity in chat
=====================  ======  ==============================================================
"""

import binascii
from functools import lru_cache

SHARDS = 64
FACT_SECONDS = 72 * 3600

HOMES = b"{homes}"
CLOCK = b"{sim}:clock"
ALIVE = b"{alive}"


class Home:
    """The keys under one home; those of one subject, fact or thread are methods."""

    __slots__ = (
        "busy",
        "counters",
        "dead",
        "doubt",
        "due",
        "hold",
        "journal",
        "later",
        "mark",
        "names",
        "ready",
        "tag",
    )

    def __init__(self, home: str) -> None:
        if not home or "{" in home or "}" in home:
            raise ValueError(f"not a home for keys: {home!r}")
        self.tag = tag = b"{%b}:" % home.encode()
        self.hold = tag + b"hold"
        self.mark = tag + b"mark"
        self.names = tag + b"names"
        self.journal = tag + b"j"
        self.due = tag + b"due"
        self.counters = tag + b"n"
        self.ready = tag + b"ready"
        self.later = tag + b"later"
        self.busy = tag + b"busy"
        self.doubt = tag + b"doubt"
        self.dead = tag + b"dead"

    def subject(self, name: str) -> bytes:
        return self.tag + b"s:" + name.encode()

    def fact(self, fact_id: str) -> bytes:
        return self.tag + b"f:" + fact_id.encode()

    def stage(self, name: str) -> bytes:
        return self.tag + b"stage:" + name.encode()

    def page(self, site: str) -> bytes:
        return self.tag + b"page:" + site.encode()

    def threaded(self, thread: str) -> tuple[bytes, bytes, bytes]:
        """Queue, outbox and place of a thread."""
        tag, name = self.tag, thread.encode()
        return b"%bq:%b" % (tag, name), b"%bo:%b" % (tag, name), b"%bt:%b" % (tag, name)

    def queue(self, thread: str) -> bytes:
        return self.tag + b"q:" + thread.encode()

    def outbox(self, thread: str) -> bytes:
        return self.tag + b"o:" + thread.encode()

    def thread(self, thread: str) -> bytes:
        return self.tag + b"t:" + thread.encode()


@lru_cache(maxsize=4096)
def of(home: str) -> Home:
    """Keys of a home. Raises ``ValueError`` where the name would break the hash tag."""
    return Home(home)


def shard(value: str) -> int:
    """Shard of an indexed value, 0 to 63, the same in every process."""
    return binascii.crc32(value.encode()) % SHARDS


def index(kind: str, value: str) -> bytes:
    return f"{{ix:{shard(value)}}}:{kind}:{value}".encode()


def person(person_id: str) -> bytes:
    return f"{{p:{person_id}}}".encode()


def lease(channel: str) -> bytes:
    return f"{{ch:{channel}}}:lease".encode()


def bucket(name: str) -> bytes:
    return f"{{ws}}:b:{name}".encode()


def note(name: str) -> bytes:
    return f"{{note}}:{name}".encode()


def member(name: str, kind: str, version: int) -> str:
    """A deadline as it stands in ``due``. Raises ``ValueError`` when it could not be read back."""
    if "|" in name or "|" in kind or not kind:
        raise ValueError(f"a deadline's name has no bar: {name!r}, {kind!r}")
    return f"{name}|{kind}|{version}"
