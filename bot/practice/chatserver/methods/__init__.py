"""The Web API methods, one file per family. A method is a function of the call."""

from collections.abc import Callable

from bot.practice.chatserver.answers import Json
from bot.practice.chatserver.methods import chat, conversations, pins, reactions, team, users
from bot.practice.chatserver.methods.call import Call, Rules

METHODS: dict[str, Callable[[Call], Json]] = {
    "api.test": team.api_test,
    "auth.test": team.auth_test,
    "team.info": team.info,
    "chat.postMessage": chat.post_message,
    "chat.postEphemeral": chat.post_ephemeral,
    "chat.update": chat.update,
    "chat.delete": chat.delete,
    "chat.getPermalink": chat.get_permalink,
    "conversations.history": conversations.history,
    "conversations.replies": conversations.replies,
    "conversations.info": conversations.info,
    "conversations.members": conversations.members,
    "conversations.list": conversations.list_all,
    "conversations.join": conversations.join,
    "conversations.open": conversations.open_dm,
    "pins.add": pins.add,
    "pins.remove": pins.remove,
    "pins.list": pins.list_all,
    "reactions.add": reactions.add,
    "reactions.remove": reactions.remove,
    "users.info": users.info,
    "users.list": users.list_all,
}

__all__ = ["METHODS", "Call", "Rules"]
