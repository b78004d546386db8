"""What is wrong with a site list, said so that the person can put it right."""

from dataclasses import dataclass

SHOWN = 60


@dataclass(frozen=True, slots=True)
class Problem:
    """One finding. `line` is the physical line (CSV) or row number (workbook); 0: the whole file.

    `what` follows on from the value ("is not a time zone …"), or stands alone where there is none.
    `remedy` is what to do, in the imperative. The same class carries notes, which stop nothing.
    """

    line: int
    column: str
    value: str
    what: str
    remedy: str

    def __str__(self) -> str:
        where = [f"line {self.line}"] if self.line else []
        where += [f"column '{printable(self.column)}'"] if self.column else []
        place = f"{', '.join(where)}: " if where else ""
        value = f"'{printable(self.value)}' " if self.value else ""
        return f"{place}{value}{printable(self.what, 400)}; {printable(self.remedy, 400)}."


class Refused(Exception):
    """A cell cannot be accepted: what is wrong with it, and the remedy."""

    def __init__(self, what: str, remedy: str) -> None:
        super().__init__(f"{what}; {remedy}")
        self.what = what
        self.remedy = remedy


class Unreadable(Exception):
    """The file, or its rest from one line on, cannot be read."""

    def __init__(self, problem: Problem) -> None:
        super().__init__(str(problem))
        self.problem = problem


def printable(text: str, limit: int = SHOWN) -> str:
    """Short, and safe for a terminal: control characters are shown as escapes, not sent."""
    cut = text if len(text) <= limit else text[: limit - 1] + "…"
    if cut.isprintable():
        return cut
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in cut)
