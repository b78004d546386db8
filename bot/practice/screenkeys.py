"""Keys of the person at the terminal, one at a time, without stopping the rehearsal."""

import asyncio
import os
import sys
from types import TracebackType
from typing import Self

_NAMES = {
    b"\x1b[A": "up",
    b"\x1b[B": "down",
    b"\x1bOA": "up",
    b"\x1bOB": "down",
    b"\x1b[5~": "page up",
    b"\x1b[6~": "page down",
    b"\r": "enter",
    b"\n": "enter",
    b"\x1b": "escape",
    b"\x7f": "back",
}


def names_of(data: bytes) -> list[str]:
    """The keys in what a terminal sent at once; a letter is its own name."""
    found: list[str] = []
    while data:
        known = next((k for k in sorted(_NAMES, key=len, reverse=True) if data.startswith(k)), b"")
        if known == b"\x1b" and len(data) > 1:  # the start of a key that we do not know
            return found
        taken = known or data[:1]
        found.append(_NAMES.get(taken) or taken.decode("ascii", "replace"))
        data = data[len(taken) :]
    return found


class Keys:
    """While entered, the terminal hands over each key at once and shows none.

    Where standard input is no terminal, no key ever comes. On leaving, by whatever way, the
    terminal is as it was.
    """

    def __init__(self) -> None:
        self.pressed: asyncio.Queue[str] = asyncio.Queue()
        self._fd = -1
        self._before: list[object] | None = None

    def __enter__(self) -> Self:
        if not sys.stdin.isatty():
            return self
        try:
            import termios
            import tty
        except ImportError:  # no such terminals on this system: the screen goes without keys
            return self
        self._fd = sys.stdin.fileno()
        self._before = termios.tcgetattr(self._fd)
        tty.setcbreak(self._fd)
        asyncio.get_running_loop().add_reader(self._fd, self._read)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._before is None:
            return
        import termios

        asyncio.get_running_loop().remove_reader(self._fd)
        termios.tcsetattr(self._fd, termios.TCSADRAIN, self._before)  # type: ignore[arg-type]
        self._before = None

    def _read(self) -> None:
        data = os.read(self._fd, 64)
        if not data:  # the terminal is gone
            asyncio.get_running_loop().remove_reader(self._fd)
        for name in names_of(data):
            self.pressed.put_nowait(name)


async def typed_line(prompt: str) -> str:
    """A line that the person types; empty at the end of input. Needs a terminal."""
    loop = asyncio.get_running_loop()
    there: asyncio.Future[None] = loop.create_future()

    def readable() -> None:
        if not there.done():
            there.set_result(None)

    print(prompt, end="", flush=True)
    loop.add_reader(sys.stdin.fileno(), readable)
    try:
        await there
    finally:
        loop.remove_reader(sys.stdin.fileno())
    typed = os.read(sys.stdin.fileno(), 4096).decode(errors="replace")
    return typed.partition("\n")[0].strip()
