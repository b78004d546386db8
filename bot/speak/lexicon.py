"""Loads the words the reader knows: ``bot/speak/<language>/words.yaml`` and its ``danger.yaml``.

Words of danger lie in a file of their own: they are read in every language at once.
"""

from functools import cache
from pathlib import Path
from typing import Any

import yaml

from bot.model.lexicon import Lexicon

_HERE = Path(__file__).parent
WORDS, DANGER = "words.yaml", "danger.yaml"
#: What may stand in both files.
_BOTH = ("misspelt", "plain", "choices")


@cache
def languages() -> tuple[str, ...]:
    """Every language there is a words file for, sorted."""
    return tuple(sorted(path.parent.name for path in _HERE.glob(f"*/{WORDS}")))


@cache
def lexicon(language: str) -> Lexicon:
    """The words of a language. ``KeyError`` if there is no such language."""
    if language not in languages():
        raise KeyError(language)
    return load(_HERE / language)


@cache
def every_lexicon() -> tuple[Lexicon, ...]:
    """All languages: words of danger count in each of them."""
    return tuple(lexicon(language) for language in languages())


def load(folder: Path) -> Lexicon:
    """Read a language's two files. Raises ``OSError``, ``yaml.YAMLError`` or pydantic's error.

    Everything is read as text: in these files "no", "on" and "off" are words.
    """
    words, danger = _read(folder / WORDS), _read(folder / DANGER)
    for key in _BOTH:
        both = _together(words.get(key), danger.pop(key, None))
        if both is not None:
            words[key] = both
    return Lexicon.model_validate(words | danger)


def _together(one: Any, other: Any) -> Any:
    """What both files say under one key: lists follow one another, tables are merged."""
    if isinstance(one, dict) and isinstance(other, dict):
        return {key: _together(one.get(key), other.get(key)) for key in one | other}
    if isinstance(one, list) and isinstance(other, list):
        return one + other
    return other if one is None else one


def _read(path: Path) -> dict[str, Any]:
    data: dict[str, Any] = yaml.load(path.read_bytes(), yaml.BaseLoader)  # noqa: S506
    return data
