"""What a decision may look at besides the subject itself: all of it data, none of it live."""

import msgspec

from bot.model.board import Board
from bot.model.handover import Handover
from bot.model.lexicon import Lexicon
from bot.model.policy import Policy
from bot.model.roster import Roster
from bot.model.runbook import Runbook


class Context(msgspec.Struct, frozen=True, gc=False, kw_only=True):
    """``version`` is the subject's as loaded; ids of new messages are made from it."""

    book: Runbook
    lexicons: dict[str, Lexicon]  # by language
    policy: Policy
    roster: Roster
    version: int = 0
    held: bool = False  # the wave holds new starts
    neighbours: int = 0  # visits of the same wave with an open call
    handover: Handover | None = None  # sites after their evening; only for a morning's post
    handover_lines: tuple[str, ...] = ()  # the same in words
    board: Board | None = None  # where the wave stands; only for decisions about its summary
    code_key: bytes = b""  # makes the codes by which a visit is passed on; empty: there are none
    may_open: bool = True  # whether somebody who can be woken is on call
    #: Whether somebody whose on-call turn it is has a tested way; None: there are none to test,
    #: or it was not looked at for this fact.
    reachable: bool | None = None

    def lexicon(self, lang: str) -> Lexicon:
        """The words of a language, of its main part (``de`` for ``de-AT``), or the English ones."""
        found = self.lexicons.get(lang) or self.lexicons.get(lang.partition("-")[0])
        return found or self.lexicons["en"]
