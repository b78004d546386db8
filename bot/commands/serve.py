"""``musterline serve``: the bot against a real workspace and a real store."""

import argparse
import logging
import socket
from collections.abc import Callable

from bot.app import BadAppToken, Bot, Parts
from bot.commands.common import fail, run_loop, runbook_of, settings_argument, settings_of
from bot.live import Live
from bot.runbooks.load import RunbookError
from bot.send.errors import SendError
from bot.send.leases import ChannelLeases
from bot.settings import Settings, SettingsError
from bot.store.errors import StoreError
from bot.store.store import Store


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("serve", help="run the bot")
    settings_argument(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Runs until SIGTERM or SIGINT; 0 after an orderly end, 2 when it cannot start."""
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(levelname)s %(name)s %(message)s")
    logging.getLogger("apscheduler").setLevel(logging.WARNING)  # else eight lines a second
    try:
        settings = settings_of(args)
        problems = settings.problems_for_serving()
        if problems:
            return fail("\n".join(problems))
        book = runbook_of(settings)
    except (SettingsError, RunbookError) as error:
        return fail(str(error))
    try:
        bot = Bot(settings, book, Parts(leases=_leases(settings)))
        run_loop(Live(settings, bot).run())
    except (StoreError, BadAppToken, SettingsError) as error:
        return fail(str(error))
    except SendError as error:
        return fail(f"The chat platform cannot be asked who we are: {error}.")
    except OSError as error:
        serve = settings.serve
        return fail(f"{serve.host}:{serve.port} cannot be listened on: {error.strerror}.")
    return 0


def _leases(settings: Settings) -> Callable[[Store], ChannelLeases]:
    """Of channels, so that one replica at a time sends there. The owner's name is the same after
    a restart: a bot that was killed need not wait for its own lease to run out."""
    owner = f"{socket.gethostname()}:{settings.serve.host}:{settings.serve.port}"
    return lambda store: ChannelLeases(store, owner)
