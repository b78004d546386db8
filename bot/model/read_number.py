"""Telephone numbers, and the wish to be written to in another language."""

import re
from collections.abc import Sequence

from bot.model.lexicon import Lexicon
from bot.model.reading import Heard, Reading
from bot.model.words import Part

#: Digits in groups, with a plus or a nought in front: 01632 960123, +44 (0)7700 900123.
_PHONE = re.compile(r"(?<![\w.])(?:\+|0)(?:[ \-/.]?\(?\d\)?){8,15}(?![\w])")
#: When a number was asked for, it may be a short one.
_ANY = re.compile(r"(?<![\w.:-])\+?\d(?:[ \-/]?\d){4,15}(?![\w:-])")
_LEAST, _MOST = 9, 15  # digits; the most by ITU-T E.164 (from memory)


def numbers_in(text: str, heard: Heard) -> tuple[list[Reading], str]:
    """Whether a telephone number is given, and the text without it.

    It is personal, so the reading does not repeat it.
    """
    asked = heard.ask == "callback"
    for found in (_ANY if asked else _PHONE).finditer(text):
        digits = sum(sign.isdigit() for sign in found[0])
        if digits <= _MOST and (asked or digits >= _LEAST):
            rest = f"{text[: found.start()]}, {text[found.end() :]}"
            return [Reading(kind="number", rule="telephone")], rest
    return [], text


def language_readings(
    parts: Sequence[Part], lexicon: Lexicon, lexicons: Sequence[Lexicon]
) -> list[Reading]:
    """A wish for another language, in whichever language it is put."""
    for other in lexicons:
        for part in parts:
            for hit in other.asked_for.find(part.words):
                if not hit.exact or part.turned_round(hit):
                    continue
                if hit.meaning == "within" or part.says_only(hit):
                    sure = 0.9 if other.language == lexicon.language else 1.0
                    return [
                        Reading(
                            kind="language",
                            confidence=sure,
                            rule="asks_for_language",
                            value=other.language,
                        )
                    ]
    return []
