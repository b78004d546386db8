"""Written words cut into clauses and plain tokens: any text, any length, any script.

The form is the same for what people write and for the phrases of a lexicon, so that the two
can be compared: compatibility forms folded, lower case, no accents, no apostrophes
("can't" and "cant" are one word), no joiners and skin tones. Text beyond ``LONGEST``
characters is not read. All steps are linear in the length of the text.
"""

import html
import re
import unicodedata
from typing import NamedTuple

#: Longest text read, in characters: the longest a chat message can be on common platforms.
LONGEST = 40_000
#: Words longer than this are no words.
LONGEST_WORD = 40

_MARKUP = re.compile(r"<(?:[@#!]|https?:|mailto:)[^<>|]{0,500}(?:\|([^<>]{0,500}))?>")
_APOSTROPHES = re.compile(r"[\u0027\u2018\u2019\u201b\u0060\u00b4\u02bc]")
_TOKEN = re.compile(
    r"(?P<emoji>:[+\-a-z][a-z0-9_+\-]{0,40}:)"
    r"|(?P<number>\d+(?:[.,:]\d+)*)"
    r"|(?P<word>[^\W\d_]+)"
    r"|(?P<end>[.!?,;:()&\n\u2014\u2013\u2026\u3002\uff1f\u00bf]|\s-\s)"
    r"|(?P<other>[^\w\s])"
)
_RUN = re.compile(r"([^\W\d_])\1{2,}")


class Clause(NamedTuple):
    """Words between two marks of punctuation. ``asks``: it ends with a question mark."""

    words: tuple[str, ...]
    asks: bool = False


def folded(text: str) -> str:
    """The text in the form that words are compared in."""
    text = html.unescape(_MARKUP.sub(lambda found: f" {found[1] or ''} ", text[:LONGEST]))
    text = _APOSTROPHES.sub("", text).casefold()
    if text.isascii():
        return text.replace("^", "")[: 2 * LONGEST]
    text = unicodedata.normalize("NFKD", text)
    kept = "".join(sign for sign in text if not _is_dressing(sign))
    return unicodedata.normalize("NFC", kept)[: 2 * LONGEST]


def clauses(text: str) -> list[Clause]:
    """The clauses of a text; punctuation that separates nothing leaves no empty clause."""
    found: list[Clause] = []
    words: list[str] = []
    for match in _TOKEN.finditer(folded(text)):
        if match.lastgroup != "end":
            if match.lastgroup != "other" or (_is_symbol(match[0]) and words[-1:] != [match[0]]):
                words.append(match[0][:LONGEST_WORD])
            continue
        asks = match[0] in "?\uff1f"
        if words:
            found.append(Clause(tuple(words), asks))
            words = []
        elif asks and found:
            found[-1] = found[-1]._replace(asks=True)
    if words:
        found.append(Clause(tuple(words)))
    return found


def words_of(phrase: str) -> tuple[str, ...]:
    """The words of a phrase, clauses ignored."""
    return tuple(word for clause in clauses(phrase) for word in clause.words)


def without_runs(word: str) -> tuple[str, ...]:
    """What a word with drawn-out letters may stand for: "smoooke" is "smoke" or "smooke"."""
    if not _RUN.search(word):
        return ()
    return _RUN.sub(r"\1", word), _RUN.sub(r"\1\1", word)


def _is_dressing(sign: str) -> bool:
    """Accents, joiners, direction marks, variation selectors, skin tones."""
    return unicodedata.category(sign) in {"Mn", "Me", "Cf", "Sk"}


def _is_symbol(sign: str) -> bool:
    return unicodedata.category(sign) == "So"
