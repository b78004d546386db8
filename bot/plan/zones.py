"""Time zones and wall times of the sites.

Names and clock changes come from the IANA time zone database, as Python's zoneinfo finds it (the
system's copy or the tzdata package). Names without an area (`GMT`, `EST`, `GB`) are refused
although the database has them: most never change their clock, and who writes GMT for a British
site in summer is an hour off without noticing. `UTC` is accepted.
"""

import difflib
import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo, available_timezones

from bot.plan.problem import Refused

_SHORT = {
    "gmt": "Europe/London", "bst": "Europe/London", "gb": "Europe/London",
    "uk": "Europe/London", "ist": "Europe/Dublin", "eire": "Europe/Dublin",
    "wet": "Europe/Lisbon", "cet": "Europe/Paris", "cest": "Europe/Paris",
    "eet": "Europe/Helsinki", "est": "America/New_York", "edt": "America/New_York",
    "cst": "America/Chicago", "mst": "America/Denver", "pst": "America/Los_Angeles",
}  # fmt: skip

_WALL = re.compile(
    r"(?P<date>\d{4}-\d{1,2}-\d{1,2})[T ]\s*(?P<hour>\d{1,2}):(?P<minute>\d{2})"
    r"(?::(?P<second>\d{2})(?:\.0+)?)?\s*(?P<offset>[Zz]|[+\-\u2212]\d{2}(?::?\d{2})?)?"
)
_CLOCK = re.compile(r"(\d{1,2}):(\d{2})(?::00)?")
_DATE_ONLY = re.compile(r"\d{4}-\d{1,2}-\d{1,2}")
_OTHER_ORDER = re.compile(
    r"(\d{1,2})[./-](\d{1,2})[./-](\d{4})(?:[ T,]+(\d{1,2}:\d{2}))?(?::\d{2})?"
)
_WRITE = "write it as 2026-03-12 18:00"


@lru_cache(maxsize=1)
def _known() -> dict[str, str]:
    names = (n for n in available_timezones() if "/" in n or n == "UTC")
    return {n.casefold(): n for n in names if not n.startswith(("posix/", "right/", "SystemV/"))}


@lru_cache(maxsize=256)
def zone(text: str) -> str:
    """The database's own spelling of a zone name; case and spaces for underscores are forgiven."""
    found = _known().get(text.strip().replace(" ", "_").casefold())
    if found is not None:
        return found
    close = nearest(text)
    remedy = f"write {' or '.join(close)}" if close else "write area and city, as Europe/London"
    if text.casefold() in _SHORT:
        raise Refused("is a short name that hides whether the clocks change", remedy)
    raise Refused("is not a zone of the IANA time zone database", remedy)


@lru_cache(maxsize=256)
def nearest(text: str) -> tuple[str, ...]:
    """Up to three zone names that an unknown one may have meant, best first."""
    wanted = text.strip().replace(" ", "_").casefold()
    if wanted in _SHORT:
        return (_SHORT[wanted],)
    by_city: dict[str, list[str]] = {}
    for folded, name in sorted(_known().items()):
        by_city.setdefault(folded.rsplit("/", 1)[-1], []).append(name)
    city = wanted.rsplit("/", 1)[-1]
    found = list(by_city.get(city, []))
    found += [_known()[n] for n in difflib.get_close_matches(wanted, _known(), n=3, cutoff=0.75)]
    for near in difflib.get_close_matches(city, by_city, n=2, cutoff=0.75):
        found += by_city[near]
    return tuple(dict.fromkeys(found))[:3]


@dataclass(frozen=True, slots=True)
class Wall:
    """A wall time as written: `offset` None when the zone decides."""

    local: datetime
    offset: timedelta | None = None
    utc: bool = False


def wall(text: str) -> Wall:
    """Read `2026-03-12 18:00`, with an offset or Z where given."""
    match = _WALL.fullmatch(text)
    if match is None:
        raise _unreadable(text)
    try:
        year, month, day = (int(part) for part in match["date"].split("-"))
        local = datetime(  # noqa: DTZ001 - the zone is the site's, added later
            year, month, day, int(match["hour"]), int(match["minute"]), int(match["second"] or 0)
        )
    except ValueError:
        raise Refused("is not a date and time that exists", _WRITE) from None
    if not 2000 <= local.year < 2100:
        raise Refused("is not in this century", "check the year")
    mark = match["offset"]
    if mark is None:
        return Wall(local)
    if mark in "Zz":
        return Wall(local, timedelta(0), utc=True)
    digits = mark[1:].replace(":", "").ljust(4, "0")
    offset = timedelta(hours=int(digits[:2]), minutes=int(digits[2:]))
    return Wall(local, offset if mark[0] == "+" else -offset)


def clock(text: str) -> tuple[int, int] | None:
    """Hour and minute when the text is a time of day alone, as `22:00`."""
    match = _CLOCK.fullmatch(text)
    if match is None:
        return None
    hour, minute = int(match[1]), int(match[2])
    return (hour, minute) if hour < 24 and minute < 60 else None


def instant(written: Wall, tz: str) -> int:
    """Milliseconds since 1970 UTC of a wall time in a zone; a clock change is never guessed."""
    place = ZoneInfo(tz)
    if written.offset is not None:
        return _with_offset(written, written.offset, place)
    readings = _readings(written.local, place)
    if not readings:
        later = _after_gap(written.local, place)
        raise Refused(
            f"does not exist in {tz}: the clocks go forward over it",
            f"write {_shown(later)}, the next time that exists, or another",
        )
    if len(readings) > 1:
        first, second = (_shown(reading, offset=True) for reading in readings)
        raise Refused(
            f"happens twice in {tz}: the clocks go back over it",
            f"write {first} for the first or {second} for the second",
        )
    return _millis(readings[0])


def local_date(start: int, tz: str) -> datetime:
    """The wall time of an instant, without its zone."""
    return datetime.fromtimestamp(start / 1000, ZoneInfo(tz)).replace(tzinfo=None)


def _with_offset(written: Wall, offset: timedelta, place: ZoneInfo) -> int:
    moment = (written.local - offset).replace(tzinfo=UTC)
    local = moment.astimezone(place)
    if not written.utc and local.utcoffset() != offset:
        raise Refused(
            f"carries an offset that {place.key} does not have at that time",
            f"write {_shown(local, offset=True)} if that moment is meant, or leave the offset out",
        )
    return _millis(moment)


def _readings(local: datetime, place: ZoneInfo) -> list[datetime]:
    found: list[datetime] = []
    for fold in (0, 1):
        aware = local.replace(tzinfo=place, fold=fold)
        back = aware.astimezone(UTC).astimezone(place)
        same = back.replace(tzinfo=None, fold=0) == local.replace(fold=0)
        if same and all(back.utcoffset() != other.utcoffset() for other in found):
            found.append(back)
    return found


def _after_gap(local: datetime, place: ZoneInfo) -> datetime:
    """The first wall time after the gap that `local` fell into."""
    before = local.replace(tzinfo=place, fold=1).astimezone(UTC)
    after = local.replace(tzinfo=place, fold=0).astimezone(UTC)
    new = after.astimezone(place).utcoffset()
    while after - before > timedelta(seconds=1):
        middle = before + (after - before) / 2
        if middle.astimezone(place).utcoffset() == new:
            after = middle
        else:
            before = middle
    return (after + timedelta(milliseconds=500)).replace(microsecond=0).astimezone(place)


def _shown(moment: datetime, offset: bool = False) -> str:
    text = moment.strftime("%Y-%m-%d %H:%M")
    return text + moment.isoformat()[-6:] if offset else text


def _millis(moment: datetime) -> int:
    return round(moment.timestamp()) * 1000


def _unreadable(text: str) -> Refused:
    if _DATE_ONLY.fullmatch(text):
        return Refused("has no time of day", f"add it, as {text} 18:00")
    if clock(text) is not None:
        return Refused("has no date", f"add it, as 2026-03-12 {text}")
    other = _OTHER_ORDER.fullmatch(text)
    if other is None:
        return Refused("is not a date and time", _WRITE)
    first, second, year, time = int(other[1]), int(other[2]), other[3], other[4] or "18:00"
    day_first, month_first = (
        f"{year}-{m:02}-{d:02} {time}" for m, d in ((second, first), (first, second))
    )
    if first > 12 or first == second:
        choice = day_first
    elif second > 12:
        choice = month_first
    else:
        choice = f"{day_first} or {month_first}, whichever is meant"
    return Refused("has day and month in an order that differs by country", f"write {choice}")
