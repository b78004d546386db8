"""``musterline check``: whether settings, runbook, store and chat are fit to serve."""

import argparse
import asyncio
from pathlib import Path

from bot.commands.common import fail, settings_argument, settings_of, store_of
from bot.fit import channel_problems, missing_scopes, people_away, store_findings
from bot.runbooks.load import RunbookError, load
from bot.send.chat import PLATFORM, ChatOut, proxy_for
from bot.send.errors import SendError
from bot.send.hints import who_am_i
from bot.settings import Settings, SettingsError
from bot.store.errors import StoreError, StoreRefused
from bot.store.store import Store
from handlers.intake.mapped import load as load_mapping


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("check", help="see whether everything is fit to serve")
    settings_argument(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """0: fit to serve; 1: something is missing; 2: the settings cannot be read."""
    try:
        settings = settings_of(args)
    except SettingsError as error:
        return fail(str(error))
    found = settings.problems_for_serving()
    found += _runbook(settings)
    found += mapping_problems(settings)
    found += _ways(settings)
    found += asyncio.run(_parts(settings))
    for line in found:
        print(f"missing: {line}")
    print("Not fit to serve yet." if found else "Fit to serve.")
    return 1 if found else 0


def _runbook(settings: Settings) -> list[str]:
    try:
        load(settings.runbook)
    except RunbookError as error:
        return [str(error)]
    except OSError as error:
        return [f"runbook: {settings.runbook} cannot be read ({error.strerror}); name yours."]
    print(f"runbook: {settings.runbook} is good")
    return []


def _ways(settings: Settings) -> list[str]:
    """How each of the team is reached, and whether a wave could ever open."""
    for person in settings.people:
        ways = ", ".join(way.way for way in person.ways)
        print(f"people: {person.name} ({', '.join(person.roles)}): {ways or 'no ways to test'}")
    alone = settings.person_on_chat_alone_may_open
    on_call = [p.ways for p in settings.people if "oncall" in p.roles]
    if alone or any(way.way != "chat" for ways in on_call for way in ways):
        return []
    why = "nobody on call has a way besides chat that could be tested, so no wave would open"
    return [f"people: {why}: give them ways, or set person_on_chat_alone_may_open."]


def mapping_problems(settings: Settings) -> list[str]:
    """Who may report units, and whether what they send can be read."""
    sources = settings.registration.sources
    names = ", ".join(source.name for source in sources)
    print(f"registrations: from {names}" if sources else "registrations: none are taken")
    found = []
    for file in (*(source.mapping for source in sources), settings.syslog.mapping):
        try:
            if file:
                load_mapping(Path(file))
        except SettingsError as error:
            found.append(str(error))
    return found


async def _parts(settings: Settings) -> list[str]:
    found = []
    try:
        async with store_of(settings) as store:
            print(f"store: {store.where} answers")
            found += await _store(store, settings)
    except StoreError as error:
        found.append(str(error))
    token = settings.chat.bot_token.get_secret_value()
    if token:
        base = settings.chat.base_url or PLATFORM
        chat = ChatOut(token, base_url=base, proxy=proxy_for(base))
        try:
            found += await _chat(chat, settings)
        except SendError as error:
            found.append(f"chat: {error}")
        finally:
            await chat.close()
    return found


async def _store(store: Store, settings: Settings) -> list[str]:
    try:
        seen = await store.server_settings()
    except StoreRefused as error:
        print(f"store: what may be lost cannot be told: {error}")
        return []
    lines, problems = store_findings(seen, settings.store.min_replicas)
    for line in lines:
        print(f"store: {line}")
    return problems


async def _chat(chat: ChatOut, settings: Settings) -> list[str]:
    """Raises ``SendError`` when the chat does not answer at all."""
    print(f"chat: we are {(await who_am_i(chat))['bot_user']}")
    found = await missing_scopes(chat)
    found += (await people_away(chat, settings)).values()
    problems, good = await channel_problems(chat, settings)
    for line in good:
        print(f"chat: {line}")
    return found + problems
