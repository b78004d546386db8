"""Points at which a test may end the process, to see what is lost. Nothing happens by default.

The store passes ``commit.before`` (nothing sent), ``commit.after`` (written, not yet told),
``claim.before`` and ``claim.after``.
"""

from collections.abc import Callable

Probe = Callable[[str], None]


def nothing(point: str) -> None:
    """The probe of a bot that nobody is testing."""
