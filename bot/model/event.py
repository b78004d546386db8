"""What every event of every subject has in common."""

import msgspec


class Event(msgspec.Struct, frozen=True, tag_field="event"):
    """Base of all events. The fact, the instant and the reason are kept beside it."""
