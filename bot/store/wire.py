"""Calls to the server: packed once, sent as they are, answered one by one."""

import asyncio
import hashlib
from importlib import resources

Arg = bytes | str | int


def packed(*args: Arg) -> bytes:
    """Arguments in the server's protocol, without the line that counts them."""
    flat: list[int | bytes] = []
    for arg in args:
        raw = arg if type(arg) is bytes else str(arg).encode()
        flat += (len(raw), raw)
    return (b"$%d\r\n%b\r\n" * len(args)) % tuple(flat)


class Packed:
    """Arguments that go out again and again, packed once."""

    __slots__ = ("count", "first", "raw")

    def __init__(self, *args: bytes) -> None:
        self.first, self.count, self.raw = args[0], len(args), packed(*args)


class Script:
    """A script of this package, by its name without ``.lua``."""

    __slots__ = ("by_sha", "by_source", "name")

    def __init__(self, name: str) -> None:
        source = (resources.files("bot.store.scripts") / f"{name}.lua").read_bytes()
        sha = hashlib.sha1(source, usedforsecurity=False).hexdigest()
        self.name = name
        self.by_sha = packed("EVALSHA", sha)
        self.by_source = packed("EVAL", source)


class Call:
    """One command on its way, or several that belong together. ``done`` gets the answer or the
    error, in our words; of several commands a list, or the first error."""

    __slots__ = ("_count", "_head", "_parts", "_script", "_tail", "commands", "done", "key")

    def __init__(
        self,
        key: bytes,
        count: int,
        head: bytes,
        tail: bytes,
        script: Script | None = None,
        parts: list[bytes] | None = None,
    ) -> None:
        self.key = key
        self.commands = len(parts) if parts else 1
        self._parts = parts
        self._count = count
        self._head = head
        self._tail = tail
        self._script = script
        self.done: asyncio.Future[object] = asyncio.get_running_loop().create_future()

    def wire(self) -> bytes:
        if not self._count:
            return self._tail
        return b"*%d\r\n%b%b" % (self._count, self._head, self._tail)

    def each(self) -> list[bytes]:
        """Its commands one by one."""
        return self._parts or [self.wire()]

    def knows_source(self) -> bool:
        """Make the call carry its script's source. False when it has none to carry."""
        if self._script is None:
            return False
        self._head = self._script.by_source
        return True


def command(key: bytes, *args: Arg) -> Call:
    """A plain command. ``key`` says where it goes in a clustered server; empty: anywhere."""
    return Call(key, len(args), b"", packed(*args))


def commands(key: bytes, *several: tuple[Arg, ...]) -> Call:
    """Plain commands on keys of one slot, with one answer for all: a list."""
    parts = [b"*%d\r\n%b" % (len(args), packed(*args)) for args in several]
    return Call(key, 0, b"", b"".join(parts), parts=parts)


def script_call(script: Script, keys: list[bytes], args: tuple[Arg, ...]) -> Call:
    tail = packed(len(keys), *keys, *args)
    return Call(keys[0], 3 + len(keys) + len(args), script.by_sha, tail, script)


def ready_call(script: Script, common: Packed, keys: list[bytes], value: bytes) -> Call:
    """A script's call with one argument, on ``common`` keys and then ``keys``."""
    count = common.count + len(keys)
    tail = b"%b%b%b" % (packed(count), common.raw, packed(*keys, value))
    return Call(common.first, 4 + count, script.by_sha, tail, script)
