"""Answers of the server in pieces of any size, and which calls wait for which."""

import asyncio
from collections.abc import Callable, Sequence
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from redis.exceptions import ConnectionError as ConnectionLost
from redis.exceptions import NoScriptError, ResponseError

from bot.store.batch import Batcher
from bot.store.pipe import Answers
from bot.store.wire import Call, command

#: The examples of the Redis serialization protocol specification, RESP version 2.
EXAMPLES: list[tuple[bytes, object]] = [
    (b"+OK\r\n", b"OK"),
    (b":0\r\n", 0),
    (b":1000\r\n", 1000),
    (b"$5\r\nhello\r\n", b"hello"),
    (b"$0\r\n\r\n", b""),
    (b"$-1\r\n", None),
    (b"*0\r\n", []),
    (b"*2\r\n$5\r\nhello\r\n$5\r\nworld\r\n", [b"hello", b"world"]),
    (b"*3\r\n:1\r\n:2\r\n:3\r\n", [1, 2, 3]),
    (b"*5\r\n:1\r\n:2\r\n:3\r\n:4\r\n$5\r\nhello\r\n", [1, 2, 3, 4, b"hello"]),
    (b"*-1\r\n", None),
    (b"*3\r\n$5\r\nhello\r\n$-1\r\n$5\r\nworld\r\n", [b"hello", None, b"world"]),
]

values = st.recursive(
    st.one_of(st.none(), st.integers(-(2**63), 2**63 - 1), st.binary(max_size=40)),
    lambda inner: st.lists(inner, max_size=4),
    max_leaves=12,
)


def written(value: object) -> bytes:
    """As the server would send it."""
    if value is None:
        return b"$-1\r\n"
    if isinstance(value, int):
        return b":%d\r\n" % value
    if isinstance(value, bytes):
        return b"$%d\r\n%b\r\n" % (len(value), value)
    assert isinstance(value, list)
    return b"*%d\r\n%b" % (len(value), b"".join(written(one) for one in value))


@pytest.mark.parametrize(("raw", "value"), EXAMPLES)
def test_the_examples_of_the_specification(raw: bytes, value: object) -> None:
    assert Answers().feed(raw) == [value]


def test_errors_are_values_of_the_clients_kinds() -> None:
    # Also an example of the specification: a list within a list, with an error in it.
    (plain,) = Answers().feed(b"-ERR unknown command 'asdf'\r\n")
    assert isinstance(plain, ResponseError)
    assert "unknown command" in str(plain)
    nested: Any = Answers().feed(b"*2\r\n*3\r\n:1\r\n:2\r\n:3\r\n*2\r\n+Hello\r\n-World\r\n")
    ((numbers, (hello, world)),) = nested
    assert (numbers, hello) == ([1, 2, 3], b"Hello")
    assert isinstance(world, ResponseError)
    assert isinstance(Answers().feed(b"-NOSCRIPT No matching script.\r\n")[0], NoScriptError)


@given(st.lists(values, min_size=1, max_size=4), st.data())
def test_pieces_of_any_size_give_the_same(wanted: list[object], data: st.DataObject) -> None:
    raw = b"".join(written(value) for value in wanted)
    cuts = sorted(data.draw(st.lists(st.integers(0, len(raw)), max_size=6)))
    answers, found = Answers(), list[object]()
    for start, end in zip([0, *cuts], [*cuts, len(raw)], strict=True):
        found += answers.feed(raw[start:end])
    assert found == wanted


def test_what_is_no_answer_is_refused() -> None:
    with pytest.raises(ConnectionLost, match="not the server's protocol"):
        Answers().feed(b"HTTP/1.1 400 Bad Request\r\n")


# --- which waits for which ----------------------------------------------------------------


class Slow:
    """A link that ends a pipeline when it is told to."""

    def __init__(self) -> None:
        self.sent: list[int] = []
        self.ends: list[Callable[[], None]] = []

    def start(self, calls: Sequence[Call], ended: Callable[[], None]) -> bool:
        self.sent.append(len(calls))
        self.ends.append(ended)
        for call in calls:
            call.done.set_result(None)
        return True

    async def run(self, calls: Sequence[Call], *, replicas: int = 0) -> None:
        raise AssertionError("it could be started at once")

    async def close(self) -> None: ...


def made(takes: float) -> tuple[Slow, Slow, Batcher, Batcher]:
    """Two batchers, the second behind the first; its pipelines have taken ``takes`` seconds."""
    first, second = Slow(), Slow()
    reads = Batcher(first, lanes=1, size=8)
    writes = Batcher(second, lanes=1, size=8, behind=reads)
    writes._takes = takes
    return first, second, reads, writes


async def turns() -> None:
    for _ in range(3):
        await asyncio.sleep(0)


async def test_calls_behind_others_wait_for_them_and_then_go_together() -> None:
    first, second, reads, writes = made(30.0)
    reads.submit(command(b"", "GET", "a"))
    await turns()
    writes.submit(command(b"", "SET", "a", 1))
    await turns()
    assert (first.sent, second.sent) == ([1], [])
    first.ends.pop()()
    writes.submit(command(b"", "SET", "b", 1))
    await turns()
    assert second.sent == [2]


async def test_they_do_not_wait_long() -> None:
    _, _, reads, writes = made(30.0)
    reads.submit(command(b"", "GET", "a"))
    await turns()
    async with asyncio.timeout(2):  # the others never end
        await writes.submit(command(b"", "SET", "a", 1))


async def test_a_timer_that_rings_before_its_time_is_the_last_word_too(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Loops that count in milliseconds do that, and nobody would look at what waits again."""
    loop = asyncio.get_running_loop()
    later = loop.call_later
    monkeypatch.setattr(loop, "call_later", lambda delay, *args: later(delay / 4, *args))
    _, second, reads, writes = made(30.0)
    reads.submit(command(b"", "GET", "a"))
    await turns()
    waiting = writes.submit(command(b"", "SET", "a", 1))
    for _ in range(200):
        await asyncio.sleep(0.001)
        if waiting.done():
            break
    assert second.sent == [1]


@pytest.mark.parametrize(("takes", "count"), [(0.0, 1), (0.001, 1), (30.0, 8)])
async def test_they_go_at_once_where_waiting_gains_nothing(takes: float, count: int) -> None:
    """A store that is quick anyway, or a pipeline that is full."""
    _, second, reads, writes = made(takes)
    reads.submit(command(b"", "GET", "a"))
    await turns()
    for _ in range(count):
        writes.submit(command(b"", "SET", "a", 1))
    await turns()
    assert second.sent == [count]


async def test_closing_waits_for_what_is_under_way() -> None:
    first, _, reads, _ = made(0.0)
    reads.submit(command(b"", "GET", "a"))
    await turns()
    closing = asyncio.create_task(reads.close())
    await turns()
    assert not closing.done()
    first.ends.pop()()
    await asyncio.wait_for(closing, 2)
