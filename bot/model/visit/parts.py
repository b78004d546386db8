"""What the parts are called: the runbook's words; of several units each has a name of its own."""

from bot.model.runbook import Runbook
from bot.model.visit.state import Visit
from bot.model.visit.steps import current


def parts(visit: Visit, book: Runbook, lang: str) -> dict[str, str]:
    """The names as the texts use them, in the language or else in English; not to be changed."""
    which = _which(visit, book)
    found = book.names.get((lang, which))
    if found is None:
        book.names[lang, which] = found = _named(book, lang, which)
    return found


def _named(book: Runbook, lang: str, which: str) -> dict[str, str]:
    words = dict(book.words.get(lang) or book.words.get(lang.partition("-")[0]) or book.words["en"])
    unit = words.get(which, words.get("unit", ""))
    return {name: text.replace("{unit}", unit) for name, text in words.items()} | {"unit": unit}


def _which(visit: Visit, book: Runbook) -> str:
    """Of several units the one the walk is at, counted from 1, or all where it is at none."""
    if len(visit.units) == 1:
        return "unit"
    serial = current(visit, book).unit
    numbers = {unit.serial: number for number, unit in enumerate(visit.units, 1)}
    return f"unit_{numbers[serial]}" if serial else "units"
