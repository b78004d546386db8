"""The desk: the one place that decides. ``Desk.receive`` loads, decides, commits, retries."""

from bot.desk.desk import Desk, Outcome, Seen

__all__ = ["Desk", "Outcome", "Seen"]
