"""The fixed answer to words of danger: at once, outside pacing, with no store involved.

Its sending is recorded as a fact when the store is there again. Repeating it is right where
losing it would be wrong, so an unknown outcome is simply sent again.
"""

import asyncio
from collections.abc import Awaitable, Callable, Sequence

from bot.send.chat import ChatOut
from bot.send.errors import ChannelAway, MessageRefused, Passing, SendError, ThreadGone
from bot.speak.catalogue import Catalogue
from bot.speak.render import EVENT_TYPE, in_chat, marked

TRIES = 3
DEADLINE = 2.0  # seconds of process time for each try
LONGEST_WAIT = 2.0  # seconds between all tries together; a request is answered within three
SHORT_WAIT = 0.2  # where the other side names no time
TEMPLATE = "danger"


async def answer(
    chat: ChatOut,
    catalogue: Catalogue,
    channel: str,
    thread: str,
    languages: Sequence[str],
    *,
    template: str = TEMPLATE,
    sleep: Callable[[float], Awaitable[None]] = asyncio.sleep,
) -> str:
    """Post the fixed text below ``thread`` (a stamp, or empty) and return its stamp.

    In several languages it is one message with all texts, so that it arrives whole. The text
    takes no arguments. A thread that is gone, or a channel that allows no thread, is answered
    at its root, at once; after other failures a try waits as long as it is told to,
    ``LONGEST_WAIT`` in all. Raises the last ``SendError`` when no try got through.
    """
    texts = (catalogue.best(lang).say(template, {}, show=in_chat) for lang in languages or ("en",))
    text = "\n\n".join(dict.fromkeys(texts))
    mark = {
        "event_type": EVENT_TYPE,
        "event_payload": {"id": f"{template}:{channel}:{thread}", "rev": 0, "template": template},
    }
    rendered = marked(text, mark)
    last: SendError = MessageRefused("never tried")
    wait, left = 0.0, LONGEST_WAIT
    for _ in range(TRIES):
        if wait > 0:
            await sleep(wait)
            left, wait = left - wait, 0.0
        try:
            return (await chat.post(channel, rendered, thread, deadline=DEADLINE)).stamp
        except (ThreadGone, ChannelAway) as error:
            last, thread = error, ""
        except SendError as error:
            last = error
            asked = error.wait if isinstance(error, Passing) else None
            wait = min(left, SHORT_WAIT if asked is None else asked / 1000)
    raise last
