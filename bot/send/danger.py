"""The fixed answer to words of danger: at once, outside pacing, with no store involved.

Its sending is recorded as a fact when the store is there again. Repeating it is right where
losing it would be wrong, so an unknown outcome is simply sent again.
"""

from bot.send.chat import ChatOut
from bot.send.errors import ChannelAway, MessageRefused, SendError, ThreadGone
from bot.speak.catalogue import Catalogue
from bot.speak.render import EVENT_TYPE, in_chat, marked

TRIES = 3
DEADLINE = 2.0  # seconds of process time for each try
TEMPLATE = "danger"


async def answer(
    chat: ChatOut,
    catalogue: Catalogue,
    channel: str,
    thread: str,
    lang: str,
    *,
    template: str = TEMPLATE,
) -> str:
    """Post the fixed text below ``thread`` (a stamp, or empty) and return its stamp.

    The text takes no arguments. A thread that is gone, or a channel that allows no thread, is
    answered at its root. Raises the last ``SendError`` when no try got through.
    """
    text = catalogue.best(lang).say(template, {}, show=in_chat)
    mark = {
        "event_type": EVENT_TYPE,
        "event_payload": {"id": f"{template}:{channel}:{thread}", "rev": 0, "template": template},
    }
    rendered = marked(text, mark)
    last: SendError = MessageRefused("never tried")
    for _ in range(TRIES):
        try:
            return (await chat.post(channel, rendered, thread, deadline=DEADLINE)).stamp
        except (ThreadGone, ChannelAway) as error:
            last, thread = error, ""
        except SendError as error:
            last = error
    raise last
