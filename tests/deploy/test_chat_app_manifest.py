"""The app manifest asks for exactly what the bot uses.

Shape and limits: the platform's published app manifest schema,
https://docs.slack.dev/reference/app-manifest (read as typed in its own published client,
slackapi/node-slack-sdk, packages/web-api/src/types/request/manifest.ts).
Scopes of methods and events: the "Facts" of each page below
https://docs.slack.dev/reference/methods and https://docs.slack.dev/reference/events.
"""

import ast
import re
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml
from slack_sdk.web.async_client import AsyncWebClient

from bot.settings import ChatSettings
from handlers.http import CHAT_PATH

TOP = Path(__file__).resolve().parents[2]
MANIFEST = TOP / "deploy" / "chat-app-manifest.yaml"

# Method -> the scopes that the bot's calls of it take, in the kinds of channel it works in:
# public and private channels, and private conversations with one person.
CALLS: dict[str, frozenset[str]] = {
    "apps.connections_open": frozenset(),  # by the app-level token, with connections:write
    "auth.test": frozenset(),
    "chat.delete": frozenset({"chat:write"}),
    "chat.getPermalink": frozenset(),
    "chat.postEphemeral": frozenset({"chat:write"}),
    "chat.postMessage": frozenset({"chat:write"}),
    "chat.update": frozenset({"chat:write"}),
    "conversations.history": frozenset({"channels:history", "groups:history", "im:history"}),
    "conversations.open": frozenset({"im:write"}),
    "conversations.replies": frozenset({"channels:history", "groups:history", "im:history"}),
    "pins.add": frozenset({"pins:write"}),
    "users.info": frozenset({"users:read"}),
}
EVENTS: dict[str, frozenset[str]] = {
    "app_mention": frozenset({"app_mentions:read"}),
    "member_joined_channel": frozenset({"channels:read", "groups:read"}),
    "message.channels": frozenset({"channels:history"}),
    "message.groups": frozenset({"groups:history"}),
    "message.im": frozenset({"im:history"}),
    "reaction_added": frozenset({"reactions:read"}),
    "reaction_removed": frozenset({"reactions:read"}),
    "user_change": frozenset({"users:read"}),
}
COMMAND_SCOPE = "commands"  # https://docs.slack.dev/reference/scopes/commands

# Longest texts, from the schema named above.
LIMITS = {"name": 35, "description": 140, "long_description": 4000}
COMMAND_LIMIT, COMMAND_TEXT_LIMIT, HINT_LIMIT = 32, 2000, 1000

CLIENT_METHODS = {
    name for name in dir(AsyncWebClient) if not name.startswith("_") and name.count("_") >= 1
}


def manifest() -> dict[str, Any]:
    loaded = yaml.safe_load(MANIFEST.read_text(encoding="utf-8"))
    assert isinstance(loaded, dict)
    return loaded


def called_methods(source: str) -> Iterator[str]:
    """Web API methods that a source calls: `client.chat_postMessage(` or `"chat.postMessage"`."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Attribute) and node.attr in CLIENT_METHODS:
            family, _, method = node.attr.partition("_")
            if f"{family}.{method}" in CALLS or _is_client(node.value):
                yield f"{family}.{method}"
        elif (
            isinstance(node, ast.Constant)
            and isinstance(node.value, str)
            and re.fullmatch(r"[a-z]+(\.[a-z]+)?\.[a-z]+[A-Za-z]*", node.value)
            and node.value.replace(".", "_") in CLIENT_METHODS
        ):
            yield node.value


def heard_events(source: str) -> Iterator[str]:
    """Events that a source listens to by name: `app.event("user_change")`."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call) and getattr(node.func, "attr", "") == "event" and node.args:
            first = node.args[0]
            if isinstance(first, ast.Constant) and isinstance(first.value, str):
                yield first.value


def _is_client(node: ast.expr) -> bool:
    name = getattr(node, "attr", getattr(node, "id", ""))
    return "client" in str(name)


def sources() -> Iterator[str]:
    """The bot's own code; the stand-in of the platform is its other end and does not count."""
    for part in ("bot", "handlers"):
        for path in (TOP / part).rglob("*.py"):
            if "practice" not in path.parts:
                yield path.read_text(encoding="utf-8")


def calls_in_the_code() -> set[str]:
    return {method for source in sources() for method in called_methods(source)}


def scopes_for(methods: Iterable[str], events: Iterable[str]) -> set[str]:
    needed = {COMMAND_SCOPE}
    for method in methods:
        needed |= CALLS[method]
    for event in events:
        needed |= EVENTS[event]
    return needed


def test_nothing_is_done_in_a_persons_name() -> None:
    assert set(manifest()["oauth_config"]["scopes"]) == {"bot"}


def test_each_scope_says_why_it_is_asked_for() -> None:
    lines = MANIFEST.read_text(encoding="utf-8").splitlines()
    for scope in manifest()["oauth_config"]["scopes"]["bot"]:
        assert any(re.match(rf"\s+- {scope} # \S", line) for line in lines), scope


def test_the_events_are_the_ones_in_the_table() -> None:
    assert set(manifest()["settings"]["event_subscriptions"]["bot_events"]) == set(EVENTS)


@pytest.mark.parametrize(
    ("source", "found"),
    [
        ("await self.client.chat_postMessage(channel=c)", ["chat.postMessage"]),
        ("await client.files_upload(channel=c)", ["files.upload"]),
        ("await api_call('reactions.add', json={})", ["reactions.add"]),
        ("call = self._out.client.users_info", ["users.info"]),
        ("await store.chat_line(1)", []),
    ],
)
def test_the_search_for_calls_finds_them(source: str, found: list[str]) -> None:
    assert list(called_methods(f"async def f():\n    {source}")) == found


def test_every_call_in_the_code_has_its_scopes_in_the_table() -> None:
    assert calls_in_the_code() <= set(CALLS)


def test_no_scope_is_asked_for_that_no_call_or_event_in_the_code_needs() -> None:
    asked = set(manifest()["oauth_config"]["scopes"]["bot"])
    assert asked == scopes_for(calls_in_the_code(), EVENTS)


def test_the_search_for_events_finds_them() -> None:
    source = (
        "app.event('message')(f)\napp.event(re.compile('.*'))(g)\n@app.event('x')\ndef h(): ..."
    )
    assert set(heard_events(source)) == {"message", "x"}


def test_what_is_subscribed_to_is_heard_and_what_is_heard_is_subscribed_to() -> None:
    heard = {event for source in sources() for event in heard_events(source)}
    assert heard == {event.split(".")[0] for event in EVENTS}


def test_texts_are_within_the_platforms_limits() -> None:
    shown = manifest()["display_information"]
    for key, limit in LIMITS.items():
        assert 0 < len(shown[key]) <= limit
    assert re.fullmatch(r"#[0-9a-f]{6}", shown["background_color"])
    for command in manifest()["features"]["slash_commands"]:
        assert command["command"].startswith("/")
        assert len(command["command"]) <= COMMAND_LIMIT
        assert len(command["description"]) <= COMMAND_TEXT_LIMIT
        assert len(command["usage_hint"]) <= HINT_LIMIT


def test_the_name_in_chat_is_the_desks_not_the_programs() -> None:
    text = yaml.safe_dump(manifest()).lower()
    assert "muster" not in text


def test_name_and_command_are_the_defaults_of_the_settings() -> None:
    chat, features = ChatSettings(), manifest()["features"]
    assert features["bot_user"]["display_name"] == chat.bot_name
    assert [command["command"] for command in features["slash_commands"]] == [chat.command]


def test_contacts_can_write_to_the_bot_in_private() -> None:
    home = manifest()["features"]["app_home"]
    assert home["messages_tab_enabled"] is True
    assert home["messages_tab_read_only_enabled"] is False


def test_all_addresses_are_one_example_over_tls() -> None:
    settings, features = manifest()["settings"], manifest()["features"]
    addresses = {
        settings["event_subscriptions"]["request_url"],
        settings["interactivity"]["request_url"],
        *(command["url"] for command in features["slash_commands"]),
    }
    assert addresses == {f"https://desk.example.org{CHAT_PATH}"}
