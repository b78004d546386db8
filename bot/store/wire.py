"""Calls to the server: packed once, sent as they are, answered one by one."""

import asyncio
import hashlib
from importlib import resources

Arg = bytes | str | int


def packed(*args: Arg) -> bytes:
    """Arguments in the server's protocol, without the line that counts them."""
    parts: list[bytes] = []
    for arg in args:
        raw = arg if isinstance(arg, bytes) else str(arg).encode()
        parts.append(b"$%d\r\n%b\r\n" % (len(raw), raw))
    return b"".join(parts)


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
    """One command on its way. ``done`` gets the answer or the error, in our words."""

    __slots__ = ("_count", "_head", "_script", "_tail", "done", "key")

    def __init__(self, key: bytes, count: int, head: bytes, tail: bytes) -> None:
        self.key = key
        self._count = count
        self._head = head
        self._tail = tail
        self._script: Script | None = None
        self.done: asyncio.Future[object] = asyncio.get_running_loop().create_future()

    def wire(self) -> bytes:
        return b"*%d\r\n%b%b" % (self._count, self._head, self._tail)

    def knows_source(self) -> bool:
        """Make the call carry its script's source. False when it has none to carry."""
        if self._script is None:
            return False
        self._head = self._script.by_source
        return True

    def of_script(self, script: Script) -> "Call":
        self._script = script
        return self


def command(key: bytes, *args: Arg) -> Call:
    """A plain command. ``key`` says where it goes in a clustered server; empty: anywhere."""
    return Call(key, len(args), b"", packed(*args))


def script_call(script: Script, keys: list[bytes], args: tuple[Arg, ...]) -> Call:
    tail = packed(len(keys), *keys, *args)
    return Call(keys[0], 3 + len(keys) + len(args), script.by_sha, tail).of_script(script)
