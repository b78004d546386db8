"""Connections to one server, on which batches of calls travel as pipelines.

The client's own habits are switched off here: it would retry a call ten times (a call whose
outcome is unknown is the desk's to retry, under the same fact id), and wait five seconds or more
for a server that is gone.
"""

import asyncio
from collections.abc import Callable, Sequence
from typing import Protocol, cast

import msgspec
from redis.asyncio.connection import AbstractConnection, Connection, parse_url
from redis.asyncio.retry import Retry
from redis.backoff import NoBackoff
from redis.exceptions import (
    AuthenticationError,
    AuthorizationError,
    NoScriptError,
    ReadOnlyError,
    RedisError,
    ResponseError,
)

from bot.store.errors import StoreAway, StoreError, StoreRefused
from bot.store.pipe import Pipe
from bot.store.wire import Call, packed

#: What a server says that will serve us later; anything else it refuses stays refused.
PASSING = (
    "LOADING",
    "BUSY",
    "CLUSTERDOWN",
    "MASTERDOWN",
    "TRYAGAIN",
    "NOREPLICAS",
    "UNKILLABLE",
    "UNBLOCKED",
)


class Options(msgspec.Struct, frozen=True, gc=False, kw_only=True):
    """How to speak to the store. Times in seconds of process time."""

    connect_timeout: float = 0.5
    socket_timeout: float = 1.0
    lanes: int = 2  # pipelines under way at once, for reading and for writing each
    batch: int = 256  # calls in one pipeline
    min_replicas: int = 0  # copies that must have a commit before it counts
    wait: float = 0.5  # how long to wait for them


class Link(Protocol):
    """Where batches go."""

    def start(self, calls: Sequence[Call], ended: Callable[[], None]) -> bool:
        """Send them at once, if that can be done without waiting; ``ended`` when all are settled.

        False: it cannot; use ``run``.
        """

    async def run(self, calls: Sequence[Call], *, replicas: int = 0) -> None:
        """Send all calls as one pipeline for each server and settle each call's ``done``."""

    async def close(self) -> None: ...


def explained(error: BaseException, where: str) -> StoreError:
    """The client's error in our words."""
    if isinstance(error.__cause__, RedisError):
        error = error.__cause__  # what it met while connecting is wrapped
    text = _text(error)
    if isinstance(error, (AuthenticationError, AuthorizationError)):
        return StoreRefused(f"the store at {where} does not accept the credentials: {text}")
    if isinstance(error, ResponseError) and not text.startswith(PASSING):
        return StoreRefused(f"the store at {where} refused: {text}")
    if isinstance(error, ResponseError):
        return StoreAway(f"the store at {where} cannot serve now: {text}")
    return StoreAway(f"the store at {where} did not answer: {text}")


def _text(error: BaseException) -> str:
    """What the server said, with the code that the client cuts off."""
    text = str(error) or type(error).__name__
    code = getattr(error, "status_code", None)
    return f"{code} {text}" if code and not text.startswith(code) else text


def maker(url: str, options: Options) -> tuple[str, Callable[[], AbstractConnection]]:
    """Where a URL leads (without any password), and what makes connections to it that never
    retry. Raises ``ValueError`` for a URL that is none.
    """
    found = dict(parse_url(url))
    kind = cast("Callable[..., AbstractConnection]", found.pop("connection_class", Connection))
    where = str(found.get("path") or f"{found.get('host', 'localhost')}:{found.get('port', 6379)}")
    found.update(
        socket_connect_timeout=options.connect_timeout,
        socket_timeout=options.socket_timeout,
        retry=Retry(NoBackoff(), 0),
        retry_on_timeout=False,
        health_check_interval=0,
        protocol=2,
    )
    return where, lambda: kind(**found)


class ServerLink:
    """Connections to one server, made when needed and kept."""

    def __init__(self, url: str, options: Options) -> None:
        self.where, self._connection = maker(url, options)
        self._options = options
        self._idle: list[Pipe] = []
        self.pipelines = 0  # how many were sent, for those who count

    def start(self, calls: Sequence[Call], ended: Callable[[], None]) -> bool:
        """As ``run``, without a task of its own; ``ended`` is called when all are settled.

        False, and nothing is sent, where no connection is open: then ``run`` opens one.
        """
        if not self._idle or not self._idle[-1].usable:
            return False
        pipe = self._idle.pop()
        data = b"".join([call.wire() for call in calls])
        count = sum([call.commands for call in calls])
        sent = pipe.exchange(data, count, self._options.socket_timeout)
        sent.add_done_callback(lambda done: self._came(pipe, calls, done, ended))
        return True

    def _came(
        self,
        pipe: Pipe,
        calls: Sequence[Call],
        done: "asyncio.Future[list[object]]",
        ended: Callable[[], None],
    ) -> None:
        error = done.exception()
        if error is not None:
            self._broke(pipe)
            away = explained(error, self.where)
            for call in calls:
                self._settle(call, away)
            ended()
            return
        answers = done.result()
        self._came_back(pipe, answers)
        if len(answers) > len(calls):
            answers = _gathered(calls, answers)
        lost: list[Call] = []
        for call, answer in zip(calls, answers, strict=True):
            if isinstance(answer, NoScriptError) and call.knows_source():
                lost.append(call)
            else:
                self._settle(call, answer)
        if lost:
            self._again = asyncio.get_running_loop().create_task(self.run(lost))
            self._again.add_done_callback(lambda _: ended())
        else:
            ended()

    async def run(self, calls: Sequence[Call], *, replicas: int = 0) -> None:
        answers = await self.answers(calls, replicas=replicas)
        for call, answer in zip(calls, answers, strict=True):
            self._settle(call, answer)

    def _settle(self, call: Call, answer: object) -> None:
        if call.done.done():
            return
        if not isinstance(answer, BaseException):
            call.done.set_result(answer)
        elif isinstance(answer, StoreError):
            call.done.set_exception(answer)
        else:
            call.done.set_exception(explained(answer, self.where))

    async def answers(self, calls: Sequence[Call], *, replicas: int = 0) -> list[object]:
        """What the server says to each; errors are values. A script it lost is sent again."""
        try:
            answers = await self._pipeline(calls, replicas)
            lost = [
                n
                for n, answer in enumerate(answers)
                if isinstance(answer, NoScriptError) and calls[n].knows_source()
            ]
            if lost:
                again = await self._pipeline([calls[n] for n in lost], replicas)
                for n, answer in zip(lost, again, strict=True):
                    answers[n] = answer
        except (RedisError, OSError, TimeoutError) as error:
            away = explained(error, self.where)
            return [away] * len(calls)
        return answers

    async def asking(self, call: Call) -> object:
        """One call to a server that is just taking the key over from another."""
        ask = b"*1\r\n" + packed("ASKING")
        wires = [wire for one in call.each() for wire in (ask, one)]  # it counts for one command
        try:
            answers = await self._exchange(wires, len(wires))
        except (RedisError, OSError, TimeoutError) as error:
            return explained(error, self.where)
        return _gathered([call], answers[1::2])[0]

    async def _pipeline(self, calls: Sequence[Call], replicas: int) -> list[object]:
        """One answer for each call; a list where a call is several commands."""
        wires = [call.wire() for call in calls]
        count = sum(call.commands for call in calls)
        if replicas:
            millis = int(self._options.wait * 1000)
            wires.append(b"*3\r\n" + packed("WAIT", replicas, millis))
        answers = await self._exchange(wires, count + bool(replicas))
        if replicas:
            copies = answers.pop()
            if not isinstance(copies, int) or copies < replicas:
                away = StoreAway(
                    f"the store at {self.where} has it in {copies} copies of {replicas} wanted"
                )
                answers = [answer if _failed(answer) else away for answer in answers]
        return answers if count == len(calls) else _gathered(calls, answers)

    async def _exchange(self, wires: list[bytes], count: int) -> list[object]:
        pipe = self._idle.pop() if self._idle else Pipe(self._connection())
        try:
            await pipe.open()
            answers = await pipe.exchange(b"".join(wires), count, self._options.socket_timeout)
        except BaseException:
            self._broke(pipe)
            raise
        self._came_back(pipe, answers)
        return answers

    def _broke(self, pipe: Pipe) -> None:
        """The others that lie idle most likely broke with it."""
        pipe.close()
        self._drop_idle()

    def _came_back(self, pipe: Pipe, answers: list[object]) -> None:
        self._idle.append(pipe)
        self.pipelines += 1
        if any(isinstance(answer, ReadOnlyError) for answer in answers):
            # It is a copy by now: the next connection finds the server that took over.
            self._drop_idle()

    def _drop_idle(self) -> None:
        while self._idle:
            self._idle.pop().close()

    async def close(self) -> None:
        self._drop_idle()


def _failed(answer: object) -> bool:
    return isinstance(answer, BaseException)


def _gathered(calls: Sequence[Call], answers: list[object]) -> list[object]:
    """Answers by call: those of several commands as a list, or their first error."""
    found: list[object] = []
    at = 0
    for call in calls:
        if call.commands == 1:
            found.append(answers[at])
        else:
            part = answers[at : at + call.commands]
            found.append(next(filter(_failed, part), part))
        at += call.commands
    return found
