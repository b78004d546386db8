"""Understanding what a person wrote: deterministic, explainable, never a guess.

``read`` gives every thing understood, the worst first; each names the rule that found it. A
reading with ``ask`` is not sure enough to act on: it holds the catalogue key of the one short
question to ask back.

Where what is understood: ``read_light`` (with ``light_story``), ``read_time``, ``read_code``
(serials, choices), ``read_version``, ``read_number`` (telephones, languages) and ``read_words``
(all else); ``settle`` says what remains of it.
"""

from collections.abc import Iterator, Sequence

from bot.model.danger import find
from bot.model.lexicon import Lexicon
from bot.model.read_code import choice_readings, serial_readings
from bot.model.read_light import light_readings
from bot.model.read_number import language_readings, numbers_in
from bot.model.read_time import time_readings
from bot.model.read_version import version_readings
from bot.model.read_words import word_readings
from bot.model.reading import ASK_BACK, Heard, Reading
from bot.model.runbook import Runbook
from bot.model.settle import settled
from bot.model.words import parts_of

#: Every catalogue key a reading may carry in ``ask``.
ASK_KEYS: frozenset[str] = frozenset(
    (
        *ASK_BACK.values(),
        "ask_colour",
        "ask_steady_or_blinking",
        "ask_fast_or_slow",
        "ask_which_light",
        "ask_danger",
        "ask_minutes",
    )
)
#: Longest text read for anything but danger, in characters.
LONGEST = 2000
_SURE = {"said": 1.0, "asked": 0.7, "denied": 0.5}


def read(
    words: str,
    heard: Heard,
    book: Runbook,
    lexicon: Lexicon,
    *,
    dangers: Sequence[Lexicon] | None = None,
) -> list[Reading]:
    """Everything understood, the worst first; at least one reading, for any text at all.

    ``dangers`` are the lexicons whose words of danger count, and whose languages can be asked
    for: all there are.
    """
    lexicons = (lexicon,) if dangers is None else dangers
    text = words[:LONGEST]
    numbers, plain = numbers_in(text, heard)
    parts = parts_of(plain, lexicon, heard.ask)
    answers = [
        *serial_readings(text, heard, book, lexicon),
        *version_readings(text, parts, heard, lexicon),
        *choice_readings(parts, heard),
        *light_readings(parts, heard, book),
    ]
    found = [*_danger(words, lexicons), *answers, *numbers]
    found += language_readings(parts, lexicon, lexicons)
    if not any(reading.kind in ("serial", "version") for reading in answers):
        found += time_readings(parts, heard, lexicon)
    found += word_readings(parts, heard)
    readings = settled(found, heard)
    if readings:
        return readings
    rule = "not_known" if parts else "no_words"
    return [Reading(kind="unclear", confidence=0.0, rule=rule, ask=ASK_BACK[heard.ask])]


def _danger(words: str, lexicons: Sequence[Lexicon]) -> Iterator[Reading]:
    danger = find(words, lexicons)
    if danger is not None:
        rule = danger.rule if danger.stance == "said" else danger.stance
        ask = "ask_danger" if danger.stance == "denied" else ""
        sure = _SURE[danger.stance]
        yield Reading(kind="danger", confidence=sure, rule=rule, value=danger.word, ask=ask)
