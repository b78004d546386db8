"""Errors of the store, in our words."""


class StoreError(Exception):
    """Anything wrong with the store."""


class StoreAway(StoreError):
    """The store did not answer: the outcome is unknown, retry under the same fact id."""


class StoreRefused(StoreError):
    """The store answered, and will not do it (wrong settings, newer data, disk full)."""


class PartRefused(StoreRefused):
    """Of many things some were refused, each for itself; the store is there, and all else done."""
