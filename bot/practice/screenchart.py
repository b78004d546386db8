"""The online curve as a small chart of characters."""

from collections.abc import Sequence

_EIGHTHS = " ▁▂▃▄▅▆▇█"
_ASCII = str.maketrans(_EIGHTHS, " ...::###")


def curve(
    instants: Sequence[int], *, since: int, until: int, total: int, width: int, height: int
) -> list[str]:
    """``height`` lines of ``width`` columns, the highest first: how many of ``instants`` (rising)
    lie before the end of each column's share of the time from ``since`` to ``until``, full height
    being ``total``. What has happened at all shows as at least the lowest mark."""
    steps = len(_EIGHTHS) - 1
    levels = []
    span, reached = max(1, until - since), 0
    for column in range(1, width + 1):
        end = since + span * column // width
        while reached < len(instants) and instants[reached] <= end:
            reached += 1
        level = height * steps * reached // max(1, total)
        levels.append(max(level, 1) if reached else 0)
    return [
        "".join(_EIGHTHS[max(0, min(steps, level - row * steps))] for level in levels)
        for row in range(height - 1, -1, -1)
    ]


def in_marks_of(encoding: str | None, lines: list[str]) -> list[str]:
    """The chart in marks that a terminal of this encoding can show."""
    try:
        _EIGHTHS.encode(encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return [line.translate(_ASCII) for line in lines]
    return lines
