"""Wishes for time in words: minutes, or a clock time of the site.

A time counts as a wish only when the words ask for it ("give me", "need") or say little else:
"it has been blinking for 10 minutes" and "I plugged it in at 9:15" are none.
"""

import math
import re
from collections.abc import Sequence

from bot.model.lexicon import Lexicon
from bot.model.phrases import NUMBER, Found
from bot.model.reading import Heard, Reading
from bot.model.words import Part, not_inside, overlap, parts_of

_CLOCK = re.compile(r"(\d{1,2})(?:[:.](\d{2}))?|(\d{2})(\d{2})")
_MINUTES = re.compile(r"[:.]\d\d$")
_LONGEST = 7 * 24 * 60  # minutes
#: Questions to which a bare number can be a wish for so many minutes.
_MAY_WAIT = frozenset(("begin", "mobile", "confirm", "light"))
_LEAST_BARE, _MOST_BARE = 3, 120
#: Words between a duration and what says that it is past.
_NEAR = 2


def time_readings(parts: Sequence[Part], heard: Heard, lexicon: Lexicon) -> list[Reading]:
    """What the words ask for: minutes or a clock time ``HH:MM``; empty when neither.

    Rule ``clock12``: it was not said which half of the day, so the site's next is meant.
    """
    found = [reading for part in parts for reading in _in_clause(part, heard, lexicon)]
    if len({(reading.minutes, reading.value) for reading in found}) > 1:
        return [Reading(kind="later", confidence=0.5, rule="several_times", ask="ask_minutes")]
    return found[:1]


def when_said(text: str, lexicon: Lexicon) -> Reading | None:
    """The one time that the words name, whatever it is said of: minutes from now or a clock
    time; ``None`` when they name none, or several."""
    found = [reading for part in parts_of(text, lexicon) if (reading := _named(part, lexicon))]
    return found[0] if len({(r.minutes, r.value) for r in found}) == 1 else None


def _named(part: Part, lexicon: Lexicon) -> Reading | None:
    durations = _latest([hit for hit in part.times if hit.meaning.startswith("minutes:")])
    if durations:
        return _minutes(durations)
    clocks = [hit for hit in part.times if hit.meaning.startswith("clock:")]
    return _clock(clocks, part, lexicon) if clocks else None


def _in_clause(part: Part, heard: Heard, lexicon: Lexicon) -> list[Reading]:
    hits = part.times
    bare = _bare(part, heard, lexicon)
    if bare is not None:
        return [Reading(kind="later", confidence=0.8, rule="bare_number", minutes=bare)]
    durations = _latest([hit for hit in hits if hit.meaning.startswith("minutes:")])
    clocks = [
        hit
        for hit in hits
        if hit.meaning.startswith("clock:") and not any(overlap(hit, d) for d in durations)
    ]
    if not durations and not clocks:
        return []
    hits = [hit for hit in hits if hit.meaning != "elapsed" or not _in_any(hit, clocks)]
    called = heard.ask == "callback"  # a time to call is what was asked for
    if not called and (_said_of_a_light(part, heard) or not _wished(part, hits, durations)):
        return []
    if durations:
        return [_minutes(durations)]
    reading = _clock(clocks, part, lexicon)
    return [] if reading is None else [reading]


def _bare(part: Part, heard: Heard, lexicon: Lexicon) -> int | None:
    """The minutes of a number that stands for itself: "20", "in 10", where time may be wanted."""
    if heard.ask not in _MAY_WAIT or part.asks:
        return None
    numbers = [word for word in part.words if lexicon.times.number(word) is not None]
    around = [hit for hit in part.times if hit.meaning == "around"]
    clock = any(hit.end - hit.start > 1 for hit in part.times if hit.meaning.startswith("clock"))
    if len(numbers) != 1 or clock or part.says_more_than(around):
        return None
    value = lexicon.times.number(numbers[0]) or 0.0
    return int(value) if _LEAST_BARE <= value <= _MOST_BARE and value == int(value) else None


def _in_any(hit: Found, others: Sequence[Found]) -> bool:
    """Whether it belongs to one of them: the "past" of "half past nine"."""
    return any(overlap(hit, other) for other in others)


def _latest(hits: list[Found]) -> list[Found]:
    """Durations that do not overlap; of two that do, the one that ends later."""
    kept: list[Found] = []
    for hit in sorted(not_inside(hits), key=lambda hit: (-hit.end, hit.start)):
        if not any(overlap(hit, other) for other in kept):
            kept.append(hit)
    return sorted(kept, key=lambda hit: hit.start)


def _said_of_a_light(part: Part, heard: Heard) -> bool:
    """Whether the clause tells how a light behaves; its times are then no wish."""
    said = {hit.meaning.partition(":")[0] for hit in part.lights}
    strong = any(hit.meaning == "later" for hit in part.times)
    return heard.ask == "light" and bool(said & {"colour", "is", "rate"}) and not strong


def _wished(part: Part, hits: Sequence[Found], durations: Sequence[Found]) -> bool:
    past = [hit for hit in hits if hit.meaning == "elapsed"]
    for hit in durations:
        if any(0 <= hit.start - sign.end < _NEAR or 0 <= sign.start - hit.end < 1 for sign in past):
            return False
    cues = [hit for hit in hits if hit.meaning == "later"]
    if any(hit.end - hit.start > 1 for hit in cues) or (cues and not part.asks):
        return True
    if part.asks:
        return False
    times = [hit for hit in hits if hit.meaning.startswith(("minutes:", "clock:", "around"))]
    said = [hit for hit in (*part.signs, *part.alone) if hit.meaning in _MAY_STAND_BY]
    return not past and not part.says_more_than([*times, *said])


_MAY_STAND_BY = frozenset(
    ("other_time", "not_yet", "no", "yes", "seen", "thanks", "hedges", "pause")
)


def _minutes(durations: Sequence[Found]) -> Reading:
    """All durations of a clause, when they stand together ("an hour and 10 minutes")."""
    unsure = Reading(kind="later", confidence=0.5, rule="duration", ask="ask_minutes")
    total = 0.0
    for index, hit in enumerate(durations):
        if index and hit.start - durations[index - 1].end > 1:
            return unsure
        unit = float(hit.meaning.partition(":")[2])
        total += unit * (hit.numbers[0] if hit.numbers else 1)
    if not 0 < total <= _LONGEST:
        return unsure
    return Reading(kind="later", rule="duration", minutes=math.ceil(total))


def _clock(clocks: Sequence[Found], part: Part, lexicon: Lexicon) -> Reading | None:
    """The one clock time of the clause; what overlaps it says which half and how far off."""
    best: tuple[int, int, str, str] | None = None
    for hit in clocks:
        rule = lexicon.clock[int(hit.meaning.partition(":")[2])]
        word = _said(part.words[hit.start : hit.end], rule.phrase, lexicon)
        bare = rule.phrase == "#"
        if not word or (bare and not _MINUTES.search(word)):
            continue
        add, half = rule.add, str(rule.half)
        before = best[3] if best else word
        if not (f"{before}:".startswith(f"{word}:") or word.startswith(f"{before}:")):
            return Reading(kind="later", confidence=0.5, rule="several_times", ask="ask_minutes")
        word = max(before, word, key=len)
        best = (1, (best[1] if best else 0) or add, (best[2] if best else "") or half, word)
    if best is None:
        return None
    return _time(best[3], best[1], best[2], lexicon)


def _said(words: Sequence[str], phrase: str, lexicon: Lexicon) -> str:
    """The hour in these words, with its minutes where the phrase has both ("19 Uhr 30")."""
    if phrase.count(NUMBER) > 1:
        hour, minute = (lexicon.times.number(word) for word in (words[0], words[-1]))
        whole = hour is not None and minute is not None and minute < 60
        return f"{int(hour or 0)}:{int(minute or 0):02}" if whole else ""
    return next((word for word in words[::-1] if _hour(word, lexicon)), "")


def _hour(word: str, lexicon: Lexicon) -> tuple[int, int] | None:
    """Hour and minute of ``9``, ``nine``, ``21:30``, ``9.30`` or ``2130``."""
    found = _CLOCK.fullmatch(word)
    if found:
        hour, minute = int(found[1] or found[3]), int(found[2] or found[4] or 0)
    else:
        number = lexicon.times.number(word)
        if number is None or number != int(number):
            return None
        hour, minute = int(number), 0
    return (hour, minute) if hour <= 24 and minute < 60 else None


def _time(word: str, add: int, half: str, lexicon: Lexicon) -> Reading | None:
    read = _hour(word, lexicon)
    if read is None:
        return None
    hour, minute = read
    sure = bool(half) or hour > 12 or hour == 0 or word.startswith("0")
    if not sure and hour < 12:  # people come in the evening, and the model looks at both halves
        half = "pm"
    if half and 1 <= hour <= 12:
        hour = hour % 12 + (12 if half == "pm" else 0)
    at = (hour * 60 + minute + add) % (24 * 60)
    return Reading(
        kind="later",
        confidence=1.0 if sure else 0.8,
        rule="clock" if sure else "clock12",
        value=f"{at // 60:02}:{at % 60:02}",
    )
