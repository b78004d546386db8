"""Checking a runbook before it is used."""

from collections.abc import Callable, Iterator
from pathlib import Path

from bot.model.runbook import Runbook
from bot.runbooks.load import RunbookError, load
from bot.runbooks.places import Problem


def check(path: Path) -> list[Problem]:
    """Everything wrong with a runbook file, in the order of the file; empty when it is good.

    Raises ``OSError`` when the file cannot be opened.
    """
    try:
        load(path)
    except RunbookError as error:
        return error.problems
    return []


def missing_texts(book: Runbook, has: Callable[[str], bool]) -> list[str]:
    """The catalogue keys the runbook uses that the catalogue has not, sorted."""
    return sorted({key for key in texts_of(book) if not has(key)})


def texts_of(book: Runbook) -> Iterator[str]:
    """Every catalogue key a runbook mentions; a choice's answers are labels of buttons."""
    for pattern in book.patterns.values():
        yield pattern.means
    back = book.back_out.stages if book.back_out is not None else ()
    for stage in (*book.stages, *back):
        yield f"stage_{stage.id}"
        for seen in stage.lights.values():
            if seen.say is not None:
                yield seen.say
        for ask in stage.asks:
            yield ask.text
            if ask.nudge is not None:
                yield ask.nudge
            yield from (f"b_{answer}" for answer in ask.answers)
        if stage.plain is not None:
            yield stage.plain
    for check in book.checks:
        yield from (key for key in (check.text, check.try_first) if key is not None)
    yield from (answer.text for answer in book.answers)
    yield from (*book.keep, *book.throw)
    if book.cautions is not None:
        yield from book.cautions.texts()
