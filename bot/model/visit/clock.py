"""Clock times that people write, as instants: in the site's own zone."""

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

from bot.model.reading import Reading


def meant(at: int, reading: Reading, tz: str) -> int:
    """The clock time; where it was not said which half of the day, the next of the two."""
    found = clock_time(at, reading.value, tz)
    if reading.rule != "clock12":
        return found
    hour, _, minute = reading.value.partition(":")
    return min(found, clock_time(at, f"{(int(hour) + 12) % 24:02}:{minute}", tz))


def clock_time(at: int, clock: str, tz: str) -> int:
    """The next instant from ``at`` on at which the site's clock shows ``HH:MM``.

    Where the clocks go back an hour comes twice: said between the two, the second is meant.
    """
    place = ZoneInfo(tz)
    wanted = time.fromisoformat(clock.zfill(5))
    today = datetime.fromtimestamp(at / 1000, UTC).astimezone(place).date()
    for fold in (0, 1):
        found = datetime.combine(today, wanted.replace(fold=fold), place).timestamp() * 1000
        if found >= at:
            return int(found)
    tomorrow = datetime.combine(today + timedelta(days=1), wanted, place)
    return int(tomorrow.timestamp() * 1000)
