"""Whether a message is still worth sending, and when to try it again. Wave time, ms."""

import zlib

from bot.model.message import ESCALATION, Message


def late(message: Message, now: int) -> bool:
    """Whether it is not worth sending any more. Calls always are, but for ringing somebody up."""
    over = message.not_after is not None and message.not_after < now
    return over and (message.urgency > ESCALATION or message.way == "webhook")


def backoff(attempt: int, ident: str) -> int:
    """Wave time to wait before the next attempt: doubling to a minute, spread by the id."""
    spread = zlib.crc32(ident.encode()) % 500
    return int(min(60_000, 1000 * 2 ** min(attempt - 1, 6))) + spread
