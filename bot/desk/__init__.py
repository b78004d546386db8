"""The desk: the one place that decides. ``Desk.receive`` loads, decides, commits, retries."""

from bot.desk.desk import Desk, Outcome
from bot.desk.recent import Seen

__all__ = ["Desk", "Outcome", "Seen"]
