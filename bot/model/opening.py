"""Opening hours as site lists write them, and when a site opens next. Pure.

Two published forms are read: that of the property *openingHours*
(https://schema.org/openingHours: days ``Mo`` to ``Su``, times of the 24-hour clock, a comma
between days, a hyphen in ranges, days without times are open all day) and of map data
(https://wiki.openstreetmap.org/wiki/Key:opening_hours: rules behind ``;`` take the place of
earlier ones for their days, those behind ``,`` add to them; ``off``, ``24/7``). Besides those what
people write into lists, in English and German: ``Mon to Fri 9am-5.30pm``, ``Montag bis Freitag
9-17 Uhr``, ``täglich``, ``geschlossen`` (common practice, no published source).

Words that only tell more ("on the road") are passed over. What holds for part of the year, every
other week or by appointment is not understood, and neither is what names no hours: then the
caller's own rule counts. Public holidays are not known.
"""

import re
from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

_DAY_NAMES = (
    ("mo", "mon", "monday", "mondays", "montag", "montags"),
    ("tu", "tue", "tues", "tuesday", "tuesdays", "di", "die", "dienstag", "dienstags"),
    ("we", "wed", "weds", "wednesday", "wednesdays", "mi", "mit", "mittwoch", "mittwochs"),
    ("th", "thu", "thur", "thurs", "thursday", "thursdays", "do", "don", "donnerstag",
     "donnerstags"),
    ("fr", "fri", "friday", "fridays", "fre", "freitag", "freitags"),
    ("sa", "sat", "saturday", "saturdays", "sam", "samstag", "samstags", "sonnabend"),
    ("su", "sun", "sunday", "sundays", "so", "son", "sonntag", "sonntags"),
)  # fmt: skip
_DAYS = {name: number for number, names in enumerate(_DAY_NAMES) for name in names}
_EVERY = frozenset({"daily", "everyday", "täglich", "24/7", "alltags"})
_WORKING = frozenset({"weekdays", "werktags", "wochentags"})
_CLOSED = frozenset({"off", "closed", "geschlossen", "zu", "ruhetag"})
_TO = frozenset({"-", "–", "—", "to", "bis", "until", "till", "through"})
_RULE_ENDS = frozenset(";|\n")
_SEPARATORS = _RULE_ENDS | {",", "&", "+", "/", "and", "und"}
_HOLIDAYS = frozenset({"ph", "sh", "holidays", "feiertag", "feiertage", "feiertags"})
#: What makes hours hold only at times, so that they cannot be taken as they stand.
_HOLDING_AT_TIMES = """
    jan feb mar apr may jun jul aug sep oct nov dec january february march april june july august
    september october november december januar februar märz mai juni juli oktober dezember summer
    winter sommer season easter term termtime appointment appointments vereinbarung termin
    terminvereinbarung alternate every other jede jeden zweite zweiten fortnightly first second
    third last 1st 2nd 3rd ersten letzten week woche sunrise sunset dawn dusk varies variable
    unless except außer ab from seit
"""
_AT_TIMES = frozenset(_HOLDING_AT_TIMES.split())
_TOKEN = re.compile(
    r"24/7|\d{4}(?!\d)|\d{1,2}(?:[:.h]\d{2}|h)?\s*(?:[ap]\.?m\b\.?|uhr\b)?"
    r"|[^\W\d_]+|[-–—]|[;,&+/|\n]",
    re.IGNORECASE,
)
_CLOCK = re.compile(r"(\d{1,2})(?:[:.h]?(\d{2}))?h?\s*([ap])?\.?m?\.?(?:uhr)?", re.IGNORECASE)
_DAYS_AHEAD = 8


class Week(NamedTuple):
    """When each day's first door opens, by weekday (0 is Monday); closed days are not there."""

    opens: dict[int, time]


class Opening(NamedTuple):
    """The next opening: an instant (ms UTC), and whether the list's hours gave it."""

    at: int
    known: bool


def parse(text: str) -> Week | None:
    """The hours of a week; ``None`` where they are not understood, or the text names none."""
    tokens = list(_tokens(text))
    if not tokens or any(word in _AT_TIMES for word in tokens):
        return None
    rules = _Rules()
    for word in tokens:
        if not rules.take(word):
            return None
    return rules.week()


def next_opening(hours: str, tz: str, after: int, otherwise: time) -> Opening:
    """When the site opens for the first time of a day, later than ``after`` (ms UTC).

    ``otherwise``: what is taken from Monday to Friday where the hours are not understood, and
    on days that are open from midnight on.
    """
    week = parse(hours)
    opens = week.opens if week is not None else dict.fromkeys(range(5), otherwise)
    opens = {day: otherwise if at == time(0) else at for day, at in opens.items()}
    zone = ZoneInfo(tz)
    today = datetime.fromtimestamp(after / 1000, UTC).astimezone(zone).date()
    for days in range(_DAYS_AHEAD + 1):
        day = today + timedelta(days=days)
        if day.weekday() in opens and (at := _instant(day, opens[day.weekday()], zone)) > after:
            return Opening(at, week is not None)
    raise AssertionError("a week has an open day")


def _instant(day: date, clock: time, zone: ZoneInfo) -> int:
    return int(datetime.combine(day, clock, zone).timestamp() * 1000)


def _tokens(text: str) -> Iterator[str]:
    for found in _TOKEN.finditer(text.casefold()):
        yield found[0].strip()


class _Rules:
    """Rules as they come: days, then their times, or that they are closed."""

    def __init__(self) -> None:
        self._opens: dict[int, time] = {}
        self._days: list[int] = []  # of the rule being read
        self._ranging = False  # a hyphen came last
        self._timed: time | None = None  # start of a span whose end is to come
        self._done = False  # the rule being read has its times
        self._adds = False  # it adds to earlier ones, instead of taking their place
        self._first = True  # it has had no time yet
        self._holiday = False
        self._any = False

    def take(self, word: str) -> bool:
        """Read one word; false when the whole is not understood."""
        if word in _TO:
            self._ranging = True
            return True
        if word in _SEPARATORS:
            return self._separator(word)
        if word in _DAYS or word in _EVERY or word in _WORKING:
            return self._day(word)
        if word in _HOLIDAYS:
            self._new_rule(adds=True)
            self._holiday = True
            return True
        if word in _CLOSED:
            return self._closed()
        if word[0].isdigit():
            clock = _clock(word)
            return clock is not None and self._time(clock)
        self._ranging = False  # a word that only tells more
        return True

    def week(self) -> Week | None:
        self._all_day()
        return Week(self._opens) if self._opens and self._any and self._timed is None else None

    def _separator(self, word: str) -> bool:
        if word in _RULE_ENDS:
            self._new_rule(adds=False)
        return self._timed is None

    def _new_rule(self, *, adds: bool) -> None:
        self._all_day()
        self._days, self._done, self._first, self._holiday = [], False, True, False
        self._adds, self._ranging = adds, False

    def _all_day(self) -> None:
        """Days without times are open all day."""
        if self._days and not self._done:
            self._open(time(0))

    def _day(self, word: str) -> bool:
        if self._done:
            self._new_rule(adds=True)
        if word in _EVERY or word in _WORKING:
            self._days = list(range(7 if word in _EVERY else 5))
            return True
        day = _DAYS[word]
        if self._ranging and self._days:
            last = self._days[-1]
            self._days += [(last + n) % 7 for n in range(1, (day - last) % 7 + 1)]
        else:
            self._days.append(day)
        self._ranging = False
        return True

    def _closed(self) -> bool:
        for day in self._days:
            self._opens.pop(day, None)
        self._done = self._any = self._any or bool(self._days)
        return True

    def _time(self, clock: time) -> bool:
        if self._ranging and self._timed is not None:  # the end of a span
            self._timed, self._ranging = None, False
            return True
        if self._timed is not None:
            return False  # two times without a hyphen between them
        if self._ranging:
            return False
        self._timed = clock
        if not self._holiday:
            self._days = self._days or list(range(7))
            self._open(clock)
        self._done = True
        return True

    def _open(self, clock: time) -> None:
        for day in self._days:
            known = self._opens.get(day)
            fresh = self._first and not self._adds
            self._opens[day] = clock if known is None or fresh else min(known, clock)
        self._first, self._done, self._any = False, True, True


def _clock(word: str) -> time | None:
    """``9``, ``09:00``, ``9.30``, ``0930``, ``9am``, ``5.30 pm``, ``9 Uhr``; 24 is midnight."""
    found = _CLOCK.fullmatch(word.replace(" ", ""))
    if found is None:
        return None
    hour, minute = int(found[1]), int(found[2] or 0)
    if found[3] is not None:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if found[3] == "p" else 0)
    return time(hour % 24, minute) if hour <= 24 and minute < 60 else None
