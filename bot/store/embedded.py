"""The embedded store: a server of our own, that outlives a bot that was killed.

Two locks. ``DIR/lock`` is inherited by the server and so held exactly as long as it lives: whoever
gets it may start a server, whoever does not adopts the one that runs. ``DIR/owner`` is the bot's:
two bots never share an embedded store by accident.
"""

import asyncio
import contextlib
import logging
import os
import shutil
import subprocess
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from urllib.parse import quote

from bot.store.errors import StoreAway, StoreError, StoreRefused
from bot.store.link import Options, ServerLink
from bot.store.process import Fsync, lock, log_tail, start
from bot.store.wire import command

log = logging.getLogger("musterline.store")

SOCKET = "store.sock"
LONGEST_SOCKET = 100  # a unix socket's path may have about 104 bytes, on some systems fewer
START_SECONDS = 10.0
FREE_WANTED = 0.10
_TEMPORARY = "musterline-"
_POLL = 0.05
_WATCH = 0.25
_BACKOFF = (0.1, 5.0)
_STEADY = 30.0  # a server that ran this long restarts at once


def free_space_note(directory: Path) -> str | None:
    """A sentence when less than a tenth of the disk is free: the server ends itself when full."""
    usage = shutil.disk_usage(directory)
    if usage.free >= FREE_WANTED * usage.total:
        return None
    return (
        f"only {usage.free * 100 // usage.total} % of the disk that holds {directory} is free: "
        "make room, for a store that cannot write stops"
    )


class Embedded:
    """One data directory, its server, and the watch over it.

    ``directory`` None: a temporary one that ends with this process, server and all.
    """

    def __init__(self, directory: Path | None = None, *, fsync: Fsync = "always") -> None:
        self._temporary = directory is None
        self._asked = directory
        self._fsync = fsync
        self._owner: int | None = None
        self._process: subprocess.Popen[bytes] | None = None
        self._watch: asyncio.Task[None] | None = None
        self._socket_name = SOCKET
        self._since = 0.0
        self._pause = _BACKOFF[0]
        self.directory = directory or Path()
        self.adopted = False
        self.restarts = 0
        self.notes: list[str] = []  # sentences for whoever started us

    @property
    def url(self) -> str:
        """For ``Store``; valid after ``start``."""
        return f"unix://{quote(str(self.socket))}"

    @property
    def socket(self) -> Path:
        return self.directory / self._socket_name

    async def start(self) -> str:
        """Start a server or adopt the one that runs; the URL. Raises ``StoreError``.

        Call it from the main thread: a temporary server ends with the thread that started it.
        """
        if self._temporary:
            _sweep_temporary()
            self.directory = Path(tempfile.mkdtemp(prefix=_TEMPORARY))
        else:
            self._make_directory()
        self._own()
        try:
            note = free_space_note(self.directory)
            if note:
                self.notes.append(note)
            await self._start_or_adopt()
        except BaseException:
            self._disown()
            raise
        self._watch = asyncio.get_running_loop().create_task(self._supervise())
        return self.url

    async def stop(self) -> None:
        """End the server in order, and give the directory free (a temporary one goes)."""
        if self._watch is not None:
            self._watch.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await self._watch
            self._watch = None
        if self._owner is None:
            return
        await self._end_server()
        self._disown()

    def leave(self) -> None:
        """Go without ending the server, as a bot that is killed does; the next start adopts it."""
        if self._watch is not None:
            self._watch.cancel()
            self._watch = None
        if self._owner is not None:
            os.close(self._owner)
            self._owner = None

    # --- the directory -----------------------------------------------------------------

    def _make_directory(self) -> None:
        assert self._asked is not None
        self.directory = self._asked.absolute()
        try:
            self.directory.mkdir(parents=True, exist_ok=True, mode=0o700)
        except OSError as error:
            raise StoreRefused(
                f"the data directory {self.directory} cannot be made: {error.strerror}"
            ) from error

    def _own(self) -> None:
        path = self.directory / "owner"
        try:
            self._owner = lock(path)
        except OSError as error:
            raise StoreRefused(
                f"the data directory {self.directory} cannot be used: {error.strerror}"
            ) from error
        if self._owner is None:
            other = path.read_text(encoding="utf-8", errors="replace").strip() or "unknown"
            raise StoreRefused(
                f"another bot (process {other}) uses the embedded store in {self.directory}: stop "
                "it, give this one a data directory of its own, or set the store's URL so that "
                "both share one server"
            )
        os.ftruncate(self._owner, 0)
        os.write(self._owner, f"{os.getpid()}\n".encode())

    def _disown(self) -> None:
        if self._temporary:
            shutil.rmtree(self.directory, ignore_errors=True)
        if self._owner is not None:
            os.close(self._owner)
            self._owner = None

    def _find_socket(self) -> None:
        """Where the server listens; in a short directory of its own when our path is too long."""
        self._socket_name = SOCKET
        if len(os.fsencode(self.socket)) < LONGEST_SOCKET:
            return
        kept = self.directory / "socket"
        with contextlib.suppress(OSError):
            known = Path(kept.read_text(encoding="utf-8").strip())
            if known.parent.is_dir() and known.parent.stat().st_uid == os.getuid():
                self._socket_name = str(known)
                return
        # An absolute name replaces the directory when joined to it.
        self._socket_name = str(Path(tempfile.mkdtemp(prefix="mu-")) / SOCKET)
        kept.write_text(self._socket_name, encoding="utf-8")
        self.notes.append(
            f"the path of {self.directory} is too long for a socket: it lies at {self.socket}"
        )

    # --- the server --------------------------------------------------------------------

    async def _start_or_adopt(self) -> None:
        self._find_socket()
        give_up = time.monotonic() + START_SECONDS
        while True:
            held = lock(self.directory / "lock")
            if held is not None:
                await self._start_server(held)
                return
            # Held: by a server to adopt, or for a moment by what a killed server left behind.
            answer = await self._ping()
            if answer is None:
                self.adopted = True
                return
            if "LOADING" not in answer and time.monotonic() > give_up:
                raise StoreRefused(
                    f"a server holds {self.directory}/lock but does not answer at {self.socket}: "
                    f"end it and start again ({answer})"
                )
            await asyncio.sleep(_POLL)

    async def _start_server(self, held: int) -> None:
        try:
            self.socket.unlink(missing_ok=True)
            process = start(
                self.directory,
                self._socket_name,
                held,
                fsync=self._fsync,
                dies_with_us=self._temporary,
            )
        except OSError as error:
            raise StoreRefused(f"the embedded store cannot be started: {error}") from error
        finally:
            os.close(held)  # from here on the server alone holds it
        self._process, self.adopted, self._since = process, False, time.monotonic()
        give_up = time.monotonic() + START_SECONDS
        while (answer := await self._ping()) is not None:
            if process.poll() is not None:
                raise StoreAway(
                    f"the embedded store in {self.directory} ended at once: "
                    f"{log_tail(self.directory)}"
                )
            if "LOADING" not in answer and time.monotonic() > give_up:
                process.kill()
                process.wait()
                raise StoreAway(
                    f"the embedded store in {self.directory} did not answer within "
                    f"{START_SECONDS:.0f} s: {log_tail(self.directory)}"
                )
            await asyncio.sleep(_POLL / 5)

    async def _ping(self) -> str | None:
        """None when the server answers, else why not."""
        link = ServerLink(self.url, Options())
        ping = command(b"", "PING")
        try:
            await link.run([ping])
            await ping.done
        except StoreError as error:
            return str(error)
        finally:
            await link.close()
        return None

    async def _supervise(self) -> None:
        """Start the server again whenever its lock is free, which means that it ended."""
        while True:
            await asyncio.sleep(_WATCH)
            if self._process is not None:
                self._process.poll()  # leaves no zombie behind
            held = lock(self.directory / "lock")
            if held is None:
                continue
            os.close(held)
            if time.monotonic() - self._since > _STEADY:
                self._pause = _BACKOFF[0]
            log.error("the embedded store ended by itself: %s", log_tail(self.directory))
            note = free_space_note(self.directory)
            if note:
                log.error("%s", note)
            await asyncio.sleep(self._pause)
            self._pause = min(2 * self._pause, _BACKOFF[1])
            self.restarts += 1
            try:
                await self._start_or_adopt()
            except (StoreError, OSError) as error:
                log.error("%s", error)  # noqa: TRY400 - the sentence says it all; next try follows

    async def _end_server(self) -> None:
        link = ServerLink(self.url, Options(socket_timeout=START_SECONDS))
        end = command(b"", "SHUTDOWN", "NOSAVE", "NOW")
        try:
            await link.run([end])
            await end.done
        except StoreAway:
            pass  # it ended, which is what was asked
        finally:
            await link.close()
        give_up = time.monotonic() + START_SECONDS
        while (held := lock(self.directory / "lock")) is None:
            if time.monotonic() > give_up:
                raise StoreAway(f"the embedded store in {self.directory} does not end")
            await asyncio.sleep(_POLL / 5)
        os.close(held)
        if self._process is not None:
            self._process.wait()
            self._process = None


def _sweep_temporary(older_than: float = 60.0) -> None:
    """Remove what rehearsals that were killed left behind; theirs is whatever nobody has locked."""
    for directory in Path(tempfile.gettempdir()).glob(f"{_TEMPORARY}*"):
        with contextlib.suppress(OSError):
            status = directory.stat()
            if status.st_uid != os.getuid() or time.time() - status.st_mtime < older_than:
                continue
            if _free(directory / "owner") and _free(directory / "lock"):
                shutil.rmtree(directory, ignore_errors=True)


def _free(path: Path, take: Callable[[Path], int | None] = lock) -> bool:
    if not path.exists():
        return False
    held = take(path)
    if held is None:
        return False
    os.close(held)
    return True
