"""A local stand-in for the chat platform's Web API and its event delivery.

It holds to the platform's published documentation: what the platform refuses, it refuses.
Where the pages are silent, the place says what was chosen and why (`methods.call.Rules`).

    chat = ChatServer(clock=clock, signing_secret=secret)
    client = AsyncWebClient(token="xoxb-practice", base_url=await chat.start())
    chat.events_url = "http://127.0.0.1:8080/chat"
    ana = chat.add_user("U0ANA00001", "Ana Merrow")
    channel = chat.add_channel("wave-1", members=[ana])
    root = await chat.mention(ana, channel, "I am here")
    await chat.press(ana, channel, chat.thread(channel, root)[1]["ts"], "done")

A simulator steps its clock when `in_flight` is 0, takes `next_due()` as an instant to stop
at, and calls `deliver_due(now)` there.
"""

from bot.practice.chatserver.attempt import Delivery
from bot.practice.chatserver.faults import Fault, Faults
from bot.practice.chatserver.people import NotThere
from bot.practice.chatserver.server import ChatServer, Posted
from bot.practice.chatserver.web import ApiCall

__all__ = ["ApiCall", "ChatServer", "Delivery", "Fault", "Faults", "NotThere", "Posted"]
