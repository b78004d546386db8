"""One connection, on which whole pipelines travel: bytes out, and as many answers back.

The client opens it (TLS, credentials, database); from then on we read it ourselves. The client's
own reading awaits every line of every answer, which costs more than all the rest of a call.
"""

import asyncio
from typing import cast

from redis.asyncio.connection import AbstractConnection, DefaultParser
from redis.exceptions import ConnectionError as ConnectionLost

_LINE = b"\r\n"
_ERROR, _INTEGER, _LIST, _SIMPLE, _STRING = b"-:*+$"


def _error(text: str) -> Exception:
    """As the client has it: its own kinds of errors, by the code in front."""
    return cast("Exception", DefaultParser.parse_error(text))  # type: ignore[no-untyped-call]


class Answers:
    """Reads the server's protocol (RESP2) piece by piece; errors are values.

    Source: the Redis serialization protocol specification, version 2.
    """

    def __init__(self) -> None:
        self._rest = b""
        self._open: list[tuple[list[object], int]] = []  # lists being filled, and their lengths

    def feed(self, data: bytes) -> list[object]:
        """The answers that are whole by now. Raises ``ConnectionLost`` for what is no answer."""
        whole: list[object] = []
        data = self._rest + data if self._rest else data
        at = 0
        while (end := data.find(_LINE, at)) >= 0:
            start, kind, value = at, data[at], cast("object", None)
            if kind == _STRING:
                length = int(data[at + 1 : end])
                at = end + 2
                if length >= 0:
                    stop = at + length
                    if len(data) < stop + 2:
                        at = start
                        break
                    value = data[at:stop]
                    at = stop + 2
            elif kind == _INTEGER:
                value = int(data[at + 1 : end])
                at = end + 2
            elif kind == _LIST:
                length = int(data[at + 1 : end])
                at = end + 2
                if length > 0:
                    self._open.append(([], length))
                    continue
                value = None if length < 0 else []
            elif kind == _SIMPLE:
                value = data[at + 1 : end]
                at = end + 2
            elif kind == _ERROR:
                value = _error(data[at + 1 : end].decode(errors="replace"))
                at = end + 2
            else:
                raise ConnectionLost(f"not the server's protocol: {data[at : at + 20]!r}")
            while self._open:
                items, length = self._open[-1]
                items.append(value)
                if len(items) < length:
                    break
                value = self._open.pop()[0]
            else:
                whole.append(value)
        self._rest = data[at:]
        return whole


class Pipe(asyncio.Protocol):
    """One pipeline at a time."""

    def __init__(self, connection: AbstractConnection) -> None:
        self._connection = connection
        self._transport: asyncio.WriteTransport | None = None
        self._answers = Answers()
        self._got: list[object] = []
        self._wanted = 0
        self._done: asyncio.Future[list[object]] | None = None
        self._limit: asyncio.TimerHandle | None = None

    @property
    def usable(self) -> bool:
        """Whether it is open, as far as we know."""
        return self._transport is not None and not self._transport.is_closing()

    async def open(self) -> None:
        """Connect, unless it is connected. Raises the client's errors."""
        if self._transport is not None:
            return
        await self._connection.connect()  # type: ignore[no-untyped-call]
        writer = self._connection._writer
        assert writer is not None
        self._transport = writer.transport
        self._transport.set_protocol(self)

    def exchange(self, data: bytes, count: int, limit: float) -> "asyncio.Future[list[object]]":
        """Send ``data``; gives its ``count`` answers, or fails after ``limit`` seconds."""
        loop = asyncio.get_running_loop()
        self._done = done = loop.create_future()
        if self._transport is None or self._transport.is_closing():
            done.set_exception(ConnectionLost("the connection is closed"))
            return done
        self._got, self._wanted = [], count
        self._limit = loop.call_later(limit, self._late)
        self._transport.write(data)
        return done

    def _late(self) -> None:
        self._fail(TimeoutError("it took too long"))
        self.close()

    def data_received(self, data: bytes) -> None:
        try:
            found = self._answers.feed(data)
        except (ConnectionLost, ValueError) as error:
            self._fail(ConnectionLost(str(error)))
            self.close()
            return
        self._got += found
        done = self._done
        if len(self._got) >= self._wanted and done is not None and not done.done():
            self._unlimit()
            done.set_result(self._got)

    def connection_lost(self, exc: Exception | None) -> None:
        self._fail(ConnectionLost(str(exc or "the server closed the connection")))

    def _unlimit(self) -> None:
        if self._limit is not None:
            self._limit.cancel()
            self._limit = None

    def _fail(self, error: Exception) -> None:
        self._unlimit()
        if self._done is not None and not self._done.done():
            self._done.set_exception(error)

    def close(self) -> None:
        """Let it go at once."""
        self._unlimit()
        if self._transport is not None:
            self._transport.abort()
