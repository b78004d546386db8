"""Musterline: walks site contacts through an install in chat and minds the clock."""

__version__ = "0.1.0"
