"""What several commands share: the settings they read and the bot's parts they use."""

import argparse
import asyncio
import contextlib
import os
import socket
import sys
import time
from collections.abc import AsyncIterator, Coroutine
from pathlib import Path
from typing import Any, TypeVar
from urllib.parse import quote

from bot.code_key import code_key
from bot.desk import Desk
from bot.desk.surroundings import Surroundings
from bot.model.runbook import Runbook
from bot.model.subject import Subject
from bot.runbooks.load import load as load_runbook
from bot.settings import PREFIX, Settings, SettingsError, load
from bot.speak.lexicon import languages, lexicon
from bot.store.embedded import SOCKET, Embedded
from bot.store.errors import StoreRefused
from bot.store.link import Options
from bot.store.store import Store

_T = TypeVar("_T")


def settings_argument(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--settings",
        type=Path,
        default=Path(given) if (given := os.environ.get(f"{PREFIX}SETTINGS")) else None,
        help=f"the settings file (TOML); else {PREFIX}SETTINGS, else defaults",
    )


def settings_of(args: argparse.Namespace) -> Settings:
    """The settings named on the command line. Raises ``SettingsError``."""
    return load(args.settings)


def fail(message: str) -> int:
    """Say what is wrong; the exit code for wrong input."""
    print(message, file=sys.stderr)
    return 2


def no_wave(wave: str | None) -> int:
    """A wave that is not there is wrong input; no wave at all is only not as wished."""
    if wave:
        return fail(f"There is no wave {wave}.")
    print("There is no wave yet.", file=sys.stderr)
    return 1


def run_loop(work: Coroutine[Any, Any, _T]) -> _T:
    """Run to the end, on the faster loop where there is one."""
    try:
        import uvloop
    except ImportError:
        return asyncio.run(work)
    return uvloop.run(work)


@contextlib.asynccontextmanager
async def store_of(settings: Settings, *, to_read: bool = False) -> AsyncIterator[Store]:
    """The store of the settings, connected. An embedded one that a bot runs is shared with it.

    ``to_read``: an embedded store that was never made is not made now, but is an error, since
    whoever asks where things stand most likely stands in the wrong folder. Raises ``StoreError``.
    """
    chosen = settings.store
    embedded = None
    url = chosen.url
    if not url:
        url = _running_url(chosen.data)
    if not url:
        if to_read and not (chosen.data / "owner").exists():
            raise StoreRefused(
                f"there is no store in {chosen.data.absolute()} yet; `musterline serve` and "
                "`musterline import` make one. If yours lies elsewhere, name it in the settings "
                "(store.data or store.url)."
            )
        embedded = Embedded(chosen.data)
        url = await embedded.start()
    store = Store(url, cluster=chosen.cluster, options=Options(min_replicas=chosen.min_replicas))
    try:
        await store.connect()
        yield store
    finally:
        await store.close()
        if embedded is not None:
            await embedded.stop()


async def now_of(store: Store) -> int:
    """Wave time, ms: the store's clock, which only a rehearsal has, else UTC."""
    return await store.clock_get() or time.time_ns() // 1_000_000


async def waves_of(store: Store, wave: str | None) -> list[Subject]:
    """The waves of the store, sorted; of one ``wave`` only that, where it is there."""
    subjects = (Subject(home, "wave") for home in await store.homes())
    return [one for one in subjects if one.wave and (not wave or one.wave == wave)]


def _running_url(data: Path) -> str:
    """The embedded store that a bot already runs in this folder; empty when none does."""
    path = _socket_in(data)
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as probe:
        try:
            probe.connect(str(path))
        except OSError:
            return ""
    return f"unix://{quote(str(path.absolute()))}"


def _socket_in(data: Path) -> Path:
    """Where the store of this folder listens: there, or where a path was short enough."""
    try:
        return Path((data / "socket").read_text(encoding="utf-8").strip())
    except OSError:
        return data / SOCKET


def runbook_of(settings: Settings) -> Runbook:
    """The runbook of the settings. Raises ``SettingsError`` when it cannot be read, and
    ``RunbookError`` when it is not right."""
    path = settings.runbook
    try:
        return load_runbook(path)
    except OSError as error:
        raise SettingsError(
            f"runbook: {path} cannot be read ({error.strerror}); name yours in the settings, "
            'as runbook = "FILE", or in MUSTERLINE_RUNBOOK.'
        ) from None


def desk_of(settings: Settings, store: Store) -> Desk:
    """A desk beside the running bot: what it commits, the bot sends. Raises as ``runbook_of``."""
    surroundings = Surroundings(
        book=runbook_of(settings),
        lexicons={lang: lexicon(lang) for lang in languages()},
        policy=settings.model_policy(),
        roster=settings.roster(),
        private=settings.chat.private,
        pages=settings.page.on,
        code_key=code_key(settings),
    )
    return Desk(store, surroundings)
