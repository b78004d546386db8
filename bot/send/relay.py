"""What leaves for ourselves: follow-up facts to other subjects, and hints for the indexes.

Both are harmless to repeat (a fact counts once by its id), so nothing is claimed: they are
delivered and then settled, many at a time. Facts to one subject keep their order.
"""

import asyncio
import logging

import msgspec

from bot.model.fact import AnyFact
from bot.model.message import Message
from bot.model.subject import parse
from bot.send.ports import IndexStore, OutboxStore, Probe, Receiver
from bot.store import probe as probes
from bot.store.commit import Settle
from bot.store.errors import StoreError

BATCH = 64
TRIES = 5
_log = logging.getLogger("musterline.relay")
_facts: msgspec.json.Decoder[AnyFact] = msgspec.json.Decoder(AnyFact)


class BadRelay(ValueError):
    """A message to ourselves that nobody can read."""


class Relay:
    """Empties the thread ``relay`` of a home."""

    def __init__(
        self,
        store: OutboxStore,
        index: IndexStore,
        desk: Receiver,
        probe: Probe = probes.nothing,
    ) -> None:
        self._store, self._index, self._desk, self._probe = store, index, desk, probe
        self._failed: dict[str, int] = {}

    async def run(self, home: str, thread: str) -> int:
        """Deliver one batch; how many were settled. Raises ``StoreError`` when it is away."""
        queued = await self._store.unsent(home, thread, BATCH, _left_out)
        lines: dict[str, list[Message]] = {}
        for one in queued:
            lines.setdefault(_target(one.message), []).append(one.message)
        results = await asyncio.gather(
            *(self._line(line) for line in lines.values()), return_exceptions=True
        )
        settles: list[Settle] = []
        wrong: BaseException | None = None
        for result in results:
            if isinstance(result, BaseException):
                wrong = wrong or result
            else:
                settles += result
        await self._store.settle(home, tuple(settles))
        if wrong is not None:
            raise wrong
        return len(settles)

    async def _line(self, line: list[Message]) -> list[Settle]:
        """Messages to one target, in order, until one does not get through."""
        done: list[Settle] = []
        for message in line:
            try:
                self._probe("relay.before")
                await self._one(message)
                self._probe("relay.after")
            except StoreError:
                if not done:
                    raise
                return done
            except Exception as error:  # noqa: BLE001
                if not self._give_up(message, error):
                    return done
                done.append(_end(message, "dead", f"{error!r}"))
            else:
                self._failed.pop(message.id, None)
                done.append(_end(message, "sent"))
        return done

    async def _one(self, message: Message) -> None:
        if message.way == "fact":
            await self._desk.receive(_fact(message))
            return
        args = message.args
        try:
            kind, value, subject = args["kind"], args["value"], parse(args["subject"])
        except (KeyError, ValueError) as error:
            raise BadRelay(f"a hint for the index is not readable: {error}") from error
        change = self._index.drop if args.get("op") == "drop" else self._index.put
        await change(kind, value, subject)
        if kind == "serial" and args.get("op") != "drop":
            await self._desk.expects(value, subject)

    def _give_up(self, message: Message, error: Exception) -> bool:
        tries = self._failed.get(message.id, 0) + 1
        _log.error("relay of %s failed (try %d)", message.id, tries, exc_info=error)
        if tries < TRIES and not isinstance(error, BadRelay):
            self._failed[message.id] = tries
            return False
        self._failed.pop(message.id, None)
        return True


def _left_out(thread: str, error: StoreError) -> None:
    """The sender tells people of it; what stands behind it must not wait."""
    _log.error("left out in %s: %s", thread, error)


def _fact(message: Message) -> AnyFact:
    try:
        return _facts.decode(message.fact)
    except (msgspec.DecodeError, msgspec.ValidationError) as error:
        raise BadRelay(f"a follow-up fact is not readable: {error}") from error


def _target(message: Message) -> str:
    if message.way == "index":
        return f"index:{message.args.get('kind')}:{message.args.get('value')}"
    try:
        return str(_fact(message).subject)
    except BadRelay:
        return f"bad:{message.id}"


def _end(message: Message, state: str, why: str = "") -> Settle:
    return Settle(message=message.id, thread=message.thread, state=state, why=why)
