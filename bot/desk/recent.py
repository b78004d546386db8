"""Subjects as they stood after the last commits of this process: what comes next need not read.

Never the last word. Another process may have committed meanwhile, so the commit compares as always,
and what would be answered without any comparison is decided again on what the store has.
"""

from collections import OrderedDict
from typing import Any, NamedTuple

from bot.model.subject import Subject
from bot.store.commit import Commit, Loaded
from bot.store.pack import chain_after

MOST = 2_048


class Seen(NamedTuple):
    """A subject as the store had it, and its snapshot as the model reads it.

    ``sure``: it was read from the store for this fact, and is not remembered.
    """

    loaded: Loaded
    state: Any
    sure: bool = True


class Recent:
    """At most ``most`` subjects, those used last."""

    def __init__(self, most: int = MOST) -> None:
        self._most = most
        self._kept: OrderedDict[Subject, tuple[Commit, int, Any]] = OrderedDict()

    def get(self, subject: Subject) -> Seen | None:
        found = self._kept.get(subject)
        if found is None:
            return None
        self._kept.move_to_end(subject)
        commit, version, after = found
        return Seen(Loaded(version, commit.body, commit.hold, chain_after(commit)), after, False)

    def committed(self, commit: Commit, version: int, after: Any) -> None:
        """``commit`` was taken as ``version``, and ``after`` is its snapshot."""
        if not commit.body or commit.set_hold is not None:  # the hold's revision may have moved
            self.forget(commit.subject)
            return
        self._kept[commit.subject] = (commit, version, after)
        self._kept.move_to_end(commit.subject)
        if len(self._kept) > self._most:
            self._kept.popitem(last=False)

    def forget(self, subject: Subject) -> None:
        self._kept.pop(subject, None)
