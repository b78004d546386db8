"""What several commands share: the settings they read and the bot's parts they use."""

import argparse
import contextlib
import os
import socket
import sys
from collections.abc import AsyncIterator
from pathlib import Path
from urllib.parse import quote

from bot.desk import Desk
from bot.desk.surroundings import Surroundings
from bot.runbooks.load import load as load_runbook
from bot.settings import PREFIX, Settings, load
from bot.speak.lexicon import languages, lexicon
from bot.store.embedded import SOCKET, Embedded
from bot.store.link import Options
from bot.store.store import Store


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


@contextlib.asynccontextmanager
async def store_of(settings: Settings) -> AsyncIterator[Store]:
    """The store of the settings, connected. An embedded one that a bot runs is shared with it.

    Raises ``StoreError``.
    """
    chosen = settings.store
    embedded = None
    url = chosen.url
    if not url:
        url = _running_url(chosen.data)
    if not url:
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


def _running_url(data: Path) -> str:
    """The embedded store that a bot already runs in this folder; empty when none does."""
    path = data / SOCKET
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as probe:
        try:
            probe.connect(str(path))
        except OSError:
            return ""
    return f"unix://{quote(str(path.absolute()))}"


def desk_of(settings: Settings, store: Store) -> Desk:
    """A desk beside the running bot: what it commits, the bot sends. Raises ``RunbookError``."""
    surroundings = Surroundings(
        book=load_runbook(settings.runbook),
        lexicons={lang: lexicon(lang) for lang in languages()},
        policy=settings.model_policy(),
        roster=settings.roster(),
    )
    return Desk(store, surroundings)
