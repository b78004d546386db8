"""How well words of danger are found, in figures: ``python -m tests.model.danger_figures``.

For each language: the lines that must stop and those that must not, those kept for testing, the
misspellings made by rule, the sentences of the corpora, and microseconds for a sentence. The
last line is one JSON object. Everything is read in all languages together, as it is live.
"""

import json
import sys
import time
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from bot.model.danger import find
from bot.model.lexicon import Lexicon
from bot.speak.lexicon import every_lexicon
from tests.model.danger_lines import LANGUAGES, corpus, lines
from tests.model.misspelling import KINDS, generated

#: Misspellings are read inside a sentence, as they are written.
CARRIER = {"en": "there is {} here", "de": "da ist {} drin"}
#: Sentences timed one after another; each is read so often, after once for warming up.
_ROUNDS = 20


class Count(NamedTuple):
    """So many were read, and so many of them wrongly."""

    read: int
    wrong: int

    def __str__(self) -> str:
        return f"{self.wrong:5} of {self.read:6}"


def stops(words: str, lexicons: Sequence[Lexicon]) -> bool:
    found = find(words, lexicons)
    return found is not None and found.stance != "denied"


def counted(texts: Iterable[str], lexicons: Sequence[Lexicon], *, stop: bool) -> Count:
    """How many do not do what they must: ``stop``, or not."""
    results = [stops(words, lexicons) is stop for words in texts]
    return Count(len(results), results.count(False))


def misspelt(lexicon: Lexicon, lexicons: Sequence[Lexicon]) -> dict[str, Count]:
    """By kind; those that are words of their own are left out, and counted as ``own``."""
    made = generated(lexicon, lexicons)
    carrier = CARRIER[lexicon.language]
    table = {
        kind: counted(
            (carrier.format(m.wrong) for m in made if m.kind == kind and not m.own),
            lexicons,
            stop=True,
        )
        for kind in KINDS
    }
    return table | {"own": Count(len(made), sum(m.own for m in made))}


def microseconds(texts: Sequence[str], lexicons: Sequence[Lexicon]) -> float:
    """Process time for one sentence whose words were met before."""
    counted(texts, lexicons, stop=True)
    start = time.process_time()
    for _ in range(_ROUNDS):
        for words in texts:
            find(words, lexicons)
    return (time.process_time() - start) * 1e6 / (_ROUNDS * len(texts))


def figures(lexicons: Sequence[Lexicon]) -> dict[str, dict[str, Count]]:
    """Everything but the time, by language and row."""
    table: dict[str, dict[str, Count]] = {}
    for lexicon in lexicons:
        language = lexicon.language
        if language not in LANGUAGES:
            continue
        rows = {
            "lines that stop: missed": counted(lines(f"stops.{language}"), lexicons, stop=True),
            "lines that do not: stopped": counted(lines(f"not.{language}"), lexicons, stop=False),
            "kept lines that stop: missed": counted(
                lines(f"stops_kept.{language}"), lexicons, stop=True
            ),
            "kept lines that do not: stopped": counted(
                lines(f"not_kept.{language}"), lexicons, stop=False
            ),
        }
        for part in ("tune", "kept"):
            said = corpus(language, part)
            dangers = [s.text for s in said if s.stance == "danger"]
            others = [s.text for s in said if s.stance in ("", "denied")]
            rows[f"corpus ({part}), danger: missed"] = counted(dangers, lexicons, stop=True)
            rows[f"corpus ({part}), none: stopped"] = counted(others, lexicons, stop=False)
        for kind, count in misspelt(lexicon, lexicons).items():
            label = "are words, left out" if kind == "own" else "missed"
            rows[f"misspelt, {kind}: {label}"] = count
        table[language] = rows
    return table


def main() -> int:
    lexicons = every_lexicon()
    table = figures(lexicons)
    for language, rows in table.items():
        sys.stdout.write(f"{language}\n")
        for row, count in rows.items():
            sys.stdout.write(f"  {row:40} {count}\n")
    texts = [s.text for language in table for s in corpus(language, "tune")]
    took = round(microseconds(texts, lexicons), 1) if texts else None
    sys.stdout.write(f"a sentence takes {took} microseconds in {len(lexicons)} languages\n")
    wrong = {
        language: {row: count.wrong for row, count in rows.items()}
        for language, rows in table.items()
    }
    sys.stdout.write(json.dumps({"wrong": wrong, "microseconds": took}) + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
