"""What can go wrong in sending, sorted by what has to be done about it."""

from typing import Literal


class SendError(Exception):
    """Sending failed. ``why`` is the other side's word for it, or ours."""

    def __init__(self, why: str) -> None:
        super().__init__(why)
        self.why = why


class MessageRefused(SendError):
    """The message itself can never go this way: a dead letter."""


class PersonAway(SendError):
    """This person cannot be reached this way: a dead letter, the next way is due."""


class ChannelAway(SendError):
    """The channel takes nothing: hold it and tell. ``everywhere``: no channel does."""

    def __init__(self, why: str, *, everywhere: bool = False) -> None:
        super().__init__(why)
        self.everywhere = everywhere


Part = Literal["", "post", "edit", "pin"]


class Passing(SendError):
    """Not done, and worth trying again; ``wait`` (ms) is what the other side asked for.

    ``part`` is what was not done; after ``pin`` the message itself stands there.
    """

    def __init__(self, why: str, wait: int | None = None, part: Part = "") -> None:
        super().__init__(why)
        self.wait = wait
        self.part = part


class InDoubt(SendError):
    """It may have been done or not: look before it is sent again."""


class EditRefused(SendError):
    """The message to edit is gone or may not be edited: post anew."""


class TooLate(SendError):
    """It is not out there, and no longer worth sending."""


class ThreadGone(SendError):
    """The message the thread hangs below is gone."""
