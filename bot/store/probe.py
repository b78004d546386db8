"""Points at which a test may end the process, to see what is lost. Nothing happens by default.

The store passes ``commit.before`` (nothing sent), ``commit.after`` (written, not yet told),
``claim.before``, ``claim.after``, ``end.before`` and ``end.after`` (messages ended without a
fact). The sender passes ``post.before`` and ``post.after``, ``relay.before`` and ``relay.after``
(what leaves for ourselves), the HTTP side ``request.before`` and ``ack.before``, and the bot
``start.store``, ``start.chat``, ``start.done`` and ``sweep.after``.
"""

from collections.abc import Callable

Probe = Callable[[str], None]


def nothing(point: str) -> None:
    """The probe of a bot that nobody is testing."""
