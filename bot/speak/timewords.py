"""Instants and spans in words: a site's own zone, the names from the language's file.

Instants are milliseconds since 1970-01-01 UTC, given as decimal text. Zones are IANA names.
"""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

#: Times further off than this (ms) belong to another day.
_NIGHT = 12 * 60 * 60 * 1000
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


class NotATime(ValueError):
    """The value is no number of milliseconds, or the zone is not known."""


@lru_cache(maxsize=512)
def zone(name: str) -> ZoneInfo:
    """The IANA zone of this name. Raises ``NotATime`` when there is none."""
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise NotATime(f"{name!r} is not a time zone of the IANA database") from None


def _milliseconds(value: str) -> int:
    try:
        return int(value)
    except ValueError:
        raise NotATime(f"{value!r} is not a whole number of milliseconds") from None


def local(instant: str, tz: str) -> datetime:
    """The instant as the clocks of ``tz`` show it."""
    try:
        return (_EPOCH + timedelta(milliseconds=_milliseconds(instant))).astimezone(zone(tz))
    except OverflowError:
        raise NotATime(f"{instant!r} lies outside the calendar") from None


def time_of_day(instant: str, tz: str) -> str:
    """Hours and minutes by the 24-hour clock, ``18:40``; seconds are cut, as clocks do."""
    return local(instant, tz).strftime("%H:%M")


def left_over_change(instant: str, now: int, tz: str) -> str:
    """Minutes from ``now`` to an instant of the same night before which the clocks go back;
    empty where they do not, or where it is past or far off."""
    span = _milliseconds(instant) - now
    if not 0 < span < _NIGHT:
        return ""
    offsets = [local(str(at), tz).utcoffset() for at in (now, instant)]
    if offsets[0] is None or offsets[1] is None or offsets[1] >= offsets[0]:
        return ""
    return minutes(str(span))


def day(instant: str, tz: str, form: str, weekdays: Sequence[str], months: Sequence[str]) -> str:
    """The day by ``form``, which may name ``{weekday}``, ``{day}``, ``{month}``, ``{year}``."""
    at = local(instant, tz)
    return form.format(
        weekday=weekdays[at.weekday()], day=at.day, month=months[at.month - 1], year=at.year
    )


def minutes(span: str) -> str:
    """Whole minutes of a span in ms, rounded; a span of some seconds is one minute, not none."""
    length = _milliseconds(span)
    if length <= 0:
        return "0"
    return str(max(1, (length + 30_000) // 60_000))
