"""Whether what was typed under a check is about the thing that was asked for.

"The phone is dead" says nothing of the card reader, and who has no mobile may well have a telephone
line. Buttons are always about the thing that was asked for.
"""

import re

from bot.model.runbook import Runbook
from bot.model.runbook_course import check_of
from bot.model.tokens import words_of

#: What somebody says they do not have: "no till", "keine Kasse".
_WITHOUT = re.compile(r" (?:no|kein|keine|keinen) ([^ ]{3,})")
_NO_THING = frozenset({"one", "such", "more", "idea"})


def is_about(book: Runbook, item: str, said: str, value: str) -> bool:
    """Whether the answer ``value`` in these words is about ``item`` of the site's list."""
    text = _spaced(said)
    own = _names(book, item)
    named = any(name in text for name in own)
    if any(name in text for name in _others(book, item) - own):
        return named and value == "broken"
    without = {word for word in _WITHOUT.findall(text) if word not in _NO_THING}
    return named or value != "absent" or not without


def _spaced(text: str) -> str:
    return f" {' '.join(words_of(text))} "


def _names(book: Runbook, item: str) -> set[str]:
    check = check_of(book.checks, item)
    listed = [name for names in check.names.values() for name in names] if check else []
    return {_spaced(name) for name in (item, *listed)}


def _others(book: Runbook, item: str) -> set[str]:
    mine = check_of(book.checks, item)
    return {
        _spaced(name)
        for check in book.checks
        if check is not mine
        for names in check.names.values()
        for name in names
    }
