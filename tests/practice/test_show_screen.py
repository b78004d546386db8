"""The live screen in a real terminal (a pseudo-terminal): picture, keys, and what it leaves."""

import fcntl
import os
import pty
import re
import select
import signal
import struct
import subprocess
import sys
import termios
import time
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from bot.practice.screenkeys import names_of
from tests.commands.kit import TOP, environment

TIMEOUT = 90
_CONTROL = re.compile(rb"\x1b\[[0-9;?]*[A-Za-z]|\x1b[()][A-Z0-9]")


class Terminal:
    """A rehearsal in a terminal of 80 columns and 24 lines."""

    def __init__(self, *words: str) -> None:
        self.main, self.side = pty.openpty()
        fcntl.ioctl(self.side, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
        self.before = termios.tcgetattr(self.side)
        self.raw = b""
        self.process = subprocess.Popen(
            [sys.executable, "-m", "bot", "rehearse", *words],
            cwd=TOP,
            env=environment(TERM="xterm-256color", LANG="C.UTF-8"),
            stdin=self.side,
            stdout=self.side,
            stderr=self.side,
            start_new_session=True,
        )

    def text(self) -> str:
        """All that was shown so far, without the terminal's control sequences."""
        return _CONTROL.sub(b"", self.raw).decode("utf-8", "replace")

    def until(self, wanted: str, *, after: int = 0) -> int:
        """Read until ``wanted`` was shown behind the place ``after``; the place behind it."""
        give_up = time.monotonic() + TIMEOUT
        while (at := self.text().find(wanted, after)) < 0:
            assert time.monotonic() < give_up, f"no {wanted!r} in {self.text()[-3000:]!r}"
            ready, _, _ = select.select([self.main], [], [], 0.2)
            if ready:
                self.raw += os.read(self.main, 65_536)
        return at + len(wanted)

    def press(self, keys: bytes) -> None:
        os.write(self.main, keys)

    def ends(self) -> int:
        """Its exit code; the terminal must be as it was before."""
        give_up = time.monotonic() + TIMEOUT
        while self.process.poll() is None:
            assert time.monotonic() < give_up, self.text()[-3000:]
            ready, _, _ = select.select([self.main], [], [], 0.2)
            if ready:
                self.raw += os.read(self.main, 65_536)
        assert termios.tcgetattr(self.side) == self.before
        assert b"\x1b[?1049h" in self.raw, "it had the whole screen"
        assert self.raw.count(b"\x1b[?1049h") == self.raw.count(b"\x1b[?1049l"), "and gave it back"
        assert self.raw.rfind(b"\x1b[?25h") > self.raw.rfind(b"\x1b[?25l"), "the cursor is shown"
        assert "Traceback" not in self.text()
        return self.process.returncode


@contextmanager
def terminal(*words: str) -> Iterator[Terminal]:
    made = Terminal(*words)
    try:
        yield made
    finally:
        made.process.kill()
        made.process.wait()
        os.close(made.main)
        os.close(made.side)


@pytest.mark.slow
def test_a_thread_is_read_while_it_runs_and_q_sums_up() -> None:
    with terminal("--units", "4", "--speed", "120") as shown:
        shown.until("up/down choose a site")
        shown.until("s00001")
        shown.press(b"n")
        at = shown.until("Enter read its thread   Esc")
        shown.press(b"\r")
        at = shown.until("PgUp/PgDn", after=at)
        shown.until(" desk: ", after=at)
        shown.press(b"q")
        at = shown.until("Which unit's thread?")
        assert "units 4, online " in shown.text()
        shown.press(b"s00002\n")
        at = shown.until(" desk: ", after=at)
        at = shown.until("Which unit's thread?", after=at)
        shown.press(b"\n")
        assert shown.ends() == 0


@pytest.mark.slow
@pytest.mark.parametrize(("number", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
def test_a_signal_gives_the_terminal_back(number: int, code: int) -> None:
    with terminal("--units", "3", "--speed", "30") as shown:
        shown.until("s00001")
        shown.process.send_signal(number)
        shown.until("units 3, online ")
        assert shown.ends() == code
        assert "Which unit's thread?" not in shown.text()


@pytest.mark.slow
def test_ctrl_c_answers_the_last_question_too() -> None:
    with terminal("--units", "2", "--speed", "0") as shown:
        shown.until("Which unit's thread?")
        shown.process.send_signal(signal.SIGINT)
        assert shown.ends() == 130


def test_keys_are_told_apart() -> None:
    assert names_of(b"n") == ["n"]
    assert names_of(b"\x1b[A\x1b[B") == ["up", "down"]
    assert names_of(b"\r") == ["enter"]
    assert names_of(b"\x1b") == ["escape"]
    assert names_of(b"\x1b[6~q") == ["page down", "q"]
    assert names_of(b"\x1b[1;5C") == [], "a key we have no use for is not taken for others"
