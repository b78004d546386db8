"""Loads the words the reader knows: ``bot/speak/<language>/words.yaml``, one file per language."""

from functools import cache
from pathlib import Path

import yaml

from bot.model.lexicon import Lexicon

_HERE = Path(__file__).parent


@cache
def languages() -> tuple[str, ...]:
    """Every language there is a words file for, sorted."""
    return tuple(sorted(path.parent.name for path in _HERE.glob("*/words.yaml")))


@cache
def lexicon(language: str) -> Lexicon:
    """The words of a language. ``KeyError`` if there is no such language."""
    if language not in languages():
        raise KeyError(language)
    return load(_HERE / language / "words.yaml")


@cache
def every_lexicon() -> tuple[Lexicon, ...]:
    """All languages: words of danger count in each of them."""
    return tuple(lexicon(language) for language in languages())


def load(path: Path) -> Lexicon:
    """Read one words file. Raises ``OSError``, ``yaml.YAMLError`` or pydantic's error.

    Everything is read as text: in this file "no", "on" and "off" are words.
    """
    return Lexicon.model_validate(yaml.load(path.read_bytes(), yaml.BaseLoader))  # noqa: S506
