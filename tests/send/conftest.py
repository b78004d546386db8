"""A sender on real parts: a real server, the stand-in chat, the real client library."""

import asyncio
from collections.abc import AsyncIterator, Callable, Mapping
from pathlib import Path
from typing import Any

import pytest

from bot.model.fact import Delivered, Fact, Undeliverable
from bot.model.message import Message
from bot.model.subject import Subject, of_visit
from bot.practice.chatserver import ChatServer
from bot.send.chat import ChatOut
from bot.send.pacing import Pacing
from bot.send.ports import Trouble
from bot.send.sender import Sender, SenderSettings
from bot.speak.catalogue import Catalogue
from bot.store.commit import ANY, Commit, Settle
from bot.store.store import Store

HOME = "w:hollowmere"
VISIT = of_visit("hollowmere", "alder-green")
START = 1_773_340_800_000  # 2026-03-12 18:40 UTC

TEXTS = """
edition: 3
weekdays: [Monday, Tuesday, Wednesday, Thursday, Friday, Saturday, Sunday]
months: [January, February, March, April, May, June, July,
  August, September, October, November, December]
hello: "Hello {name}."
plain: "One thing."
board: "Online: {n}"
danger: "Step away. Call the emergency services. Touch nothing."
call: |
  Unit {serial} is silent since {since:time}.
  Ask {contact:mention}, {phone}. {where:link}
call_subject: "Call: unit {serial}"
b_done: Done
b_stop: Stop
"""


@pytest.fixture
def catalogue(tmp_path: Path) -> Catalogue:
    (tmp_path / "en").mkdir()
    (tmp_path / "en" / "messages.yaml").write_text(TEXTS, encoding="utf-8")
    return Catalogue.load("en", tmp_path)


class Time:
    """Wave time and process time, moved by hand. Milliseconds."""

    def __init__(self) -> None:
        self.wave = START
        self.process = 5_000_000

    def now(self) -> int:
        return self.wave

    def passed(self) -> int:
        return self.process


@pytest.fixture
def time() -> Time:
    return Time()


@pytest.fixture
async def server(time: Time) -> AsyncIterator[ChatServer]:
    started = ChatServer(clock=time.now, signing_secret="practice")
    started.add_channel("wave", id="C0WAVE0001")
    started.add_channel("calls", id="C0CALLS001")
    started.add_user("U0MARA0001", "mara")
    await started.start()
    yield started
    await started.stop()


@pytest.fixture
async def chat(server: ChatServer) -> AsyncIterator[ChatOut]:
    made = ChatOut("xoxb-practice", base_url=f"{server.base_url}/api/", deadline=0.4)
    yield made
    await made.close()


@pytest.fixture
async def store(store_url: str) -> AsyncIterator[Store]:
    opened = Store(store_url)
    yield opened
    await opened.close()


class PlainDesk:
    """Commits what the sender reports, as the desk does: the fact and the end in one."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self.facts: list[Fact] = []
        self.fail: list[Exception] = []
        self.heard: list[Callable[[Fact], object]] = []

    async def receive(self, fact: Fact) -> object:
        if self.fail:
            raise self.fail.pop(0)
        self.facts.append(fact)
        for hear in self.heard:
            hear(fact)
        settle: tuple[Settle, ...] = ()
        if isinstance(fact, Delivered):
            settle = (
                Settle(
                    message=fact.message,
                    thread=fact.thread,
                    state="sent",
                    channel=fact.channel,
                    stamp=fact.stamp,
                    slot=fact.slot,
                    rev=fact.rev,
                    root=fact.root,
                ),
            )
        elif isinstance(fact, Undeliverable):
            settle = (Settle(message=fact.message, thread=fact.thread, state="dead", why=fact.why),)
        return await self.store.commit(
            Commit(
                subject=fact.subject,
                fact_id=fact.id,
                version=ANY,
                hold=0,
                body=b"",
                outcome=b"ok",
                settle=settle,
            )
        )

    async def expects(self, serial: str, subject: Subject) -> int:
        return 0

    @property
    def delivered(self) -> list[Delivered]:
        return [fact for fact in self.facts if isinstance(fact, Delivered)]

    @property
    def dead(self) -> list[Undeliverable]:
        return [fact for fact in self.facts if isinstance(fact, Undeliverable)]


@pytest.fixture
def desk(store: Store) -> PlainDesk:
    return PlainDesk(store)


class FixedPlaces:
    async def channel_of(self, home: str, thread: str) -> str:
        if thread.startswith("esc:"):
            return "C0CALLS001"
        if thread.startswith("lost:"):
            raise LookupError(f"no channel is set for {thread} of {home}")
        return "C0WAVE0001"


async def people(person: str) -> Mapping[str, str] | None:
    known = {"p1": {"name": "Mara Venn", "user": "U0MARA0001", "mail": "mara@example.org"}}
    return known.get(person)


class Bench:
    """Everything a test needs in one hand."""

    def __init__(
        self, store: Store, desk: PlainDesk, chat: ChatOut, server: ChatServer, time: Time
    ) -> None:
        self.store, self.desk, self.chat, self.server, self.time = store, desk, chat, server, time
        self.troubles: list[Trouble] = []
        self.made = 0

    def sender(self, catalogue: Catalogue, **more: Any) -> Sender:
        async def tell(trouble: Trouble) -> None:
            self.troubles.append(trouble)

        more.setdefault("settings", SenderSettings(lease=1000, in_doubt_wait=500))
        more.setdefault("pacing", Pacing())
        more.setdefault("chat", self.chat)
        return Sender(
            store=self.store,
            index=self.store,
            desk=self.desk,
            catalogue=catalogue,
            places=FixedPlaces(),
            people=people,
            tell=tell,
            process=self.time.passed,
            **more,
        )

    async def queue(self, *messages: Message) -> None:
        """Put messages into the outbox by one commit."""
        self.made += 1
        await self.store.commit(
            Commit(
                subject=VISIT,
                fact_id=f"test:{self.made}",
                version=ANY,
                hold=0,
                body=b"",
                outcome=b"",
                outbox=messages,
            )
        )

    async def drain(self, sender: Sender, *, most: int = 300) -> int:
        """Run until nothing is left, stepping wave time as a rehearsal does."""
        sent = 0
        for _ in range(most):
            swept = await sender.run_once(self.time.wave)
            sent += swept.sent
            if swept.busy:
                self.time.process += 100
            elif swept.next_at is None:
                return sent
            else:
                self.time.wave = swept.next_at
        raise AssertionError("the outbox did not become empty")

    async def posted(self, channel: str) -> None:
        """Wait until something stands in the channel."""
        there = asyncio.Event()
        self.server.on_post.append(
            lambda posted: there.set() if posted.channel == channel else None
        )
        if not self.server.messages(channel):
            await asyncio.wait_for(there.wait(), 5)

    def texts(self, channel: str = "C0WAVE0001") -> list[str]:
        return [str(message["text"]) for message in self.server.messages(channel)]

    def calls(self, method: str) -> list[Any]:
        return [call for call in self.server.calls if call.method == method]


@pytest.fixture
def bench(store: Store, desk: PlainDesk, chat: ChatOut, server: ChatServer, time: Time) -> Bench:
    return Bench(store, desk, chat, server, time)


def message(number: int, thread: str = "site:alder-green", **more: Any) -> Message:
    """A message of the visit; its template is ``hello`` unless told."""
    more.setdefault("template", "hello")
    more.setdefault("args", {"name": f"no. {number}"})
    more.setdefault("catalogue", 3)
    more.setdefault("made_at", START + number)
    return Message(id=f"{VISIT}:7:{number}", thread=thread, **more)
