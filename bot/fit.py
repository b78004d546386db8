"""Whether store and chat are fit for a wave: each problem as one sentence, with its remedy."""

from collections.abc import Mapping

from bot.send.chat import ChatOut
from bot.send.errors import SendError
from bot.send.hints import account, newest, read_thread, scopes
from bot.settings import Settings

#: The scopes of the chat app manifest (deploy/chat-app-manifest.yaml).
SCOPES = frozenset({
    "app_mentions:read",
    "channels:history",
    "channels:read",
    "chat:write",
    "commands",
    "groups:history",
    "groups:read",
    "im:history",
    "im:write",
    "pins:write",
    "reactions:read",
    "users:read",
})  # fmt: skip


async def missing_scopes(chat: ChatOut) -> list[str]:
    """What the bot's token may not do. Raises ``SendError`` when the chat does not answer."""
    found = await scopes(chat)
    if not found:
        return []  # the platform did not say; what is missing shows in the other checks
    return [
        f"chat.bot_token: the scope {name} is missing: add it to the app and install it again."
        for name in sorted(SCOPES - found)
    ]


async def people_away(chat: ChatOut, settings: Settings) -> dict[str, str]:
    """People of the settings who cannot be reached in chat: their user id, and a sentence.

    Raises ``SendError`` when the chat does not answer.
    """
    away = {}
    for person in settings.people:
        try:
            found = await account(chat, person.user)
        except SendError as error:
            if error.why not in ("user_not_found", "user_not_visible"):
                raise
            away[person.user] = (
                f"people: {person.name}: the chat knows no account {person.user}: copy the "
                "member id from their profile."
            )
            continue
        if found.get("deleted"):
            away[person.user] = (
                f"people: {person.name}: the account {person.user} is disabled: name somebody "
                "else for their turn."
            )
        elif found.get("is_bot"):
            away[person.user] = f"people: {person.name}: {person.user} is a bot, not a person."
    return away


async def channel_problems(chat: ChatOut, settings: Settings) -> tuple[list[str], list[str]]:
    """Channels that the bot cannot read and threads that it may not: problems, and what is good.

    Reading is what an outage is made good with, so it is tried here, before a wave.
    """
    problems, good = [], []
    wanted = [("chat.channels", channel) for channel in settings.chat.channels]
    wanted.append(("chat.team_channel", settings.chat.team_channel))
    for key, channel in wanted:
        if not channel:
            continue
        try:
            stamp = await newest(chat, channel)
            if stamp:
                await read_thread(chat, channel, stamp)
        except SendError as error:
            problems.append(f"{key}: {channel}: {_why(error.why)}")
            continue
        tried = "threads can be read" if stamp else "it is empty, so no thread could be tried"
        good.append(f"{channel}: the bot is a member; {tried}")
    return problems, good


def _why(word: str) -> str:
    return {
        "not_in_channel": "the bot is not a member: invite it there.",
        "channel_not_found": "there is no such channel, or it is private and the bot is not in "
        "it: use its id, and invite the bot.",
        "missing_scope": "the bot may not read it: add the history scopes to the app.",
        "not_allowed_token_type": "the bot's token may not read threads here: after an outage "
        "nothing could be read back.",
    }.get(word, f"cannot be read: {word}.")


def store_findings(found: Mapping[str, str], min_replicas: int) -> tuple[list[str], list[str]]:
    """What may be lost with these settings of the server, and what makes it unfit."""
    problems: list[str] = []
    lines: list[str] = []
    policy = found.get("maxmemory-policy", "")
    if policy and policy != "noeviction":
        problems.append(
            f"store: maxmemory-policy is {policy}: the store would throw data away when it is "
            "full; set noeviction."
        )
    if found.get("appendonly") == "no":
        problems.append(
            "store: appendonly is no: a restart of the store loses what came after its last "
            "snapshot; set appendonly yes and appendfsync always."
        )
    else:
        lines.append(_fsync(found.get("appendfsync", "")))
    replicas = int(found.get("connected_slaves") or 0)
    if min_replicas > replicas:
        problems.append(
            f"store.min_replicas is {min_replicas} and {replicas} replicas are connected: no "
            "decision would count."
        )
    if replicas:
        lines.append(_failover(found, min_replicas))
    else:
        lines.append("no replica: with the machine of the store, its data is gone; back it up")
    return lines, problems


def _fsync(mode: str) -> str:
    return {
        "always": "a restart or a power cut of the store loses nothing that was acknowledged",
        "everysec": "a power cut of the store may lose about two seconds (appendfsync everysec); "
        "a restart loses nothing",
        "no": "a power cut of the store may lose half a minute or more (appendfsync no)",
    }.get(mode, "what a power cut loses is not known: the store does not show its settings")


def _failover(found: Mapping[str, str], min_replicas: int) -> str:
    if not min_replicas:
        return "a failover may lose the latest decisions: set store.min_replicas to 1 or more"
    if found.get("min-replicas-to-write", "0") in ("", "0"):
        return (
            "a failover to a replica that had it loses nothing; set min-replicas-to-write 1 on "
            "the server, so that a cut-off primary takes no decisions"
        )
    return "a failover to a replica that had it loses nothing"
