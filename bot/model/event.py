"""What every event of every subject has in common."""

import msgspec


class Event(msgspec.Struct, frozen=True, gc=False, tag_field="event", omit_defaults=True):
    """Base of all events. The fact, the instant and the reason are kept beside it."""
