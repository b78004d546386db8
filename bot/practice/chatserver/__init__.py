"""A local stand-in for the chat platform's Web API and its event delivery.

It holds to the platform's published documentation: what the platform refuses, it refuses.
"""

from bot.practice.chatserver.attempt import Delivery
from bot.practice.chatserver.faults import Fault, Faults
from bot.practice.chatserver.people import NotThere
from bot.practice.chatserver.server import ChatServer, Posted
from bot.practice.chatserver.web import ApiCall

__all__ = ["ApiCall", "ChatServer", "Delivery", "Fault", "Faults", "NotThere", "Posted"]
