"""``musterline serve``: the bot against a real workspace and a real store."""

import argparse
import asyncio
import logging

from bot.app import Bot
from bot.commands.common import fail, runbook_of, settings_argument, settings_of
from bot.live import Live
from bot.runbooks.load import RunbookError
from bot.send.errors import SendError
from bot.settings import Settings, SettingsError
from bot.store.errors import StoreError


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("serve", help="run the bot")
    settings_argument(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Runs until SIGTERM or SIGINT; 0 after an orderly end, 2 when it cannot start."""
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(levelname)s %(name)s %(message)s")
    try:
        settings = settings_of(args)
        problems = settings.problems_for_serving()
        if problems:
            return fail("\n".join(problems))
        book = runbook_of(settings)
        _run(settings, Bot(settings, book))
    except (SettingsError, RunbookError, StoreError, SendError) as error:
        return fail(str(error))
    return 0


def _run(settings: Settings, bot: Bot) -> None:
    live = Live(settings, bot)
    try:
        import uvloop
    except ImportError:
        asyncio.run(live.run())
    else:
        uvloop.run(live.run())
