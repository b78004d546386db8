"""The catalogue: every text that people get to read, in a folder for each language.

A file ``bot/speak/<lang>/messages.yaml`` is one mapping; the texts of one part of the job may
stand beside it, in ``messages.<part>.yaml``, with texts alone. Its own settings are ``edition`` (a
number, raised when a text's placeholders change), ``fallback`` (a language whose texts stand
in for missing ones), ``weekdays`` (seven names from Monday), ``months`` (twelve names) and
``day`` (the form of a date, such as ``{weekday} {day} {month}``) and ``soon`` (what is put
behind a time when the clocks go back before it, with ``{minutes}``). Every other key is a text.

Placeholders: ``{name}`` is the argument as it is; ``{start:time}`` and ``{start:day}`` an
instant (ms) in the reader's zone; ``{wait:minutes}`` a span (ms) as a number of minutes;
``{contact:mention}`` a chat user, or several; ``{thread:link}`` a web address. ``{{`` and
``}}`` stand for braces. Keys that begin with ``b_`` are button labels, of at most 75 characters.
"""

import logging
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from fnmatch import fnmatch
from functools import lru_cache
from importlib import resources
from pathlib import Path
from string import Formatter
from typing import Any

import yaml

from bot.speak import timewords

_log = logging.getLogger("musterline.speak")
REFERENCE = "en"
FORMS = frozenset({"", "time", "day", "minutes", "mention", "link"})
LABEL_LENGTH = 75
MISSING = "\N{EN DASH}"
_SETTINGS = frozenset({"edition", "fallback", "weekdays", "months", "day", "soon"})


class CatalogueError(Exception):
    """Something is wrong with a catalogue, or with what was asked of it."""


class CatalogueInvalid(CatalogueError):
    """A file of texts cannot be used; the sentence says where and why."""


class UnknownText(CatalogueError):
    """No text has this key, in the language or in its fallback."""


class UnknownLanguage(CatalogueError):
    """There is no file for this language."""


class ArgumentMissing(CatalogueError):
    """A text needs an argument that the message does not carry, or cannot read it."""


@dataclass(frozen=True)
class Piece:
    """A run of literal text, then an argument's name and form (no name: only the text)."""

    literal: str
    name: str = ""
    form: str = ""


@dataclass(frozen=True)
class Names:
    """Names of days and months, and the form of a date."""

    weekdays: tuple[str, ...] = ()
    months: tuple[str, ...] = ()
    day: str = "{weekday} {day} {month}"
    soon: str = ""


#: How a way of sending shows a piece: (form, value) -> text. It gets times already in words,
#: and the catalogue's own plain text with the form "".
Show = Callable[[str, str], str]


def as_it_is(form: str, value: str) -> str:  # noqa: ARG001
    return value


def parse(where: str, text: str) -> tuple[Piece, ...]:
    """Split a text at its placeholders. Raises ``CatalogueInvalid`` for one that is not known."""
    pieces: list[Piece] = []
    try:
        parts = list(Formatter().parse(text))
    except ValueError as error:
        raise CatalogueInvalid(f"{where}: {error} (write {{{{ and }}}} for braces)") from None
    for literal, name, form, conversion in parts:
        if name is None:
            pieces.append(Piece(literal))
            continue
        if not name.isidentifier() or conversion:
            raise CatalogueInvalid(f"{where}: {{{name}}} is not a plain name in braces")
        if form not in FORMS:
            known = ", ".join(sorted(FORMS - {""}))
            raise CatalogueInvalid(f"{where}: {{{name}:{form}}}: the forms are {known}")
        pieces.append(Piece(literal, name, form or ""))
    return tuple(pieces)


@dataclass(frozen=True)
class Texts:
    """The texts of one language, those of its fallback behind them."""

    lang: str
    version: int
    names: Names
    own: Mapping[str, tuple[Piece, ...]]
    behind: "Texts | None" = None
    raw: Mapping[str, str] = field(default_factory=dict)

    def pieces(self, key: str) -> tuple[Piece, ...]:
        """The text's pieces. Raises ``UnknownText``."""
        found = self.own.get(key)
        if found is not None:
            return found
        if self.behind is not None:
            return self.behind.pieces(key)
        raise UnknownText(f"no text {key!r} in the catalogue {self.lang!r}")

    def has(self, key: str) -> bool:
        return key in self.own or (self.behind is not None and self.behind.has(key))

    def placeholders(self, key: str) -> frozenset[str]:
        """Names of the arguments that a text takes. Raises ``UnknownText``."""
        return frozenset(piece.name for piece in self.pieces(key) if piece.name)

    def say(
        self,
        key: str,
        args: Mapping[str, str],
        tz: str = "UTC",
        *,
        show: Show = as_it_is,
        lenient: bool = False,
        now: int = 0,
    ) -> str:
        """The text with its arguments filled in.

        ``now`` (ms), where it is known, is when the text is written: a time behind a change of
        the clocks, which would be puzzling, is then also said in minutes.

        ``show`` turns a value into what the way of sending understands. ``lenient``: an
        argument that is missing or cannot be read is shown as a dash, since the text has to go
        out. Raises ``UnknownText``, ``ArgumentMissing``.
        """
        done: list[str] = []
        for piece in self.pieces(key):
            done.append(show("", piece.literal))
            if piece.name:
                value = args.get(piece.name)
                done.append(self._shown(key, piece, value, (tz, now), show, lenient))
        return "".join(done)

    def _shown(
        self,
        key: str,
        piece: Piece,
        value: str | None,
        where: tuple[str, int],
        show: Show,
        lenient: bool,
    ) -> str:
        try:
            return show(piece.form, self._value(key, piece, value, where))
        except ArgumentMissing as error:
            if not lenient:
                raise
            _log.warning("shown as a dash: %s", error)
            return MISSING

    def _value(self, key: str, piece: Piece, value: str | None, where: tuple[str, int]) -> str:
        tz, now = where
        if value is None:
            raise ArgumentMissing(f"text {key!r} ({self.lang}) needs {piece.name!r}")
        try:
            if piece.form == "time":
                clock = timewords.time_of_day(value, tz)
                left = timewords.left_over_change(value, now, tz) if now else ""
                soon = self.names.soon.format(minutes=left) if left and self.names.soon else ""
                return f"{clock} ({soon})" if soon else clock
            if piece.form == "day":
                names = self.names
                return timewords.day(value, tz, names.day, names.weekdays, names.months)
            if piece.form == "minutes":
                return timewords.minutes(value)
        except timewords.NotATime as error:
            raise ArgumentMissing(f"text {key!r} ({self.lang}), {piece.name!r}: {error}") from None
        return value


class _Loader(yaml.SafeLoader):
    """Safe YAML in which a key may stand only once; the later would silently win."""

    def construct_mapping(self, node: yaml.MappingNode, deep: bool = False) -> dict[Any, Any]:
        seen: set[Any] = set()
        for key_node, _ in node.value:
            key = self.construct_object(key_node, deep=True)
            if key in seen:
                line = key_node.start_mark.line + 1
                raise CatalogueInvalid(f"line {line}: the key {key!r} stands there twice")
            seen.add(key)
        return super().construct_mapping(node, deep)


def _read(source: str, where: str) -> dict[str, Any]:
    try:
        data = yaml.load(source, Loader=_Loader)  # noqa: S506
    except CatalogueInvalid as error:
        raise CatalogueInvalid(f"{where}, {error}") from None
    except yaml.YAMLError as error:
        raise CatalogueInvalid(f"{where}: not valid YAML: {error}") from None
    if not isinstance(data, dict):
        raise CatalogueInvalid(f"{where}: must be one mapping of keys to texts")
    for key, value in data.items():
        if not isinstance(key, str):
            raise CatalogueInvalid(f"{where}: the key {key!r} must be a word: put it in quotes")
        if key not in _SETTINGS and not isinstance(value, str):
            raise CatalogueInvalid(f"{where}: {key} must be a text (put it in quotes)")
    return data


def _names(data: Mapping[str, Any], where: str, behind: Texts | None) -> Names:
    given = [name for name in ("weekdays", "months") if name in data]
    if not given and "day" not in data:
        return behind.names if behind is not None else Names()
    for name, count in (("weekdays", 7), ("months", 12)):
        values = data.get(name)
        if (
            not isinstance(values, list)
            or len(values) != count
            or not all(isinstance(value, str) for value in values)
        ):
            raise CatalogueInvalid(f"{where}: {name} must be a list of {count} names")
    form = str(data.get("day", Names.day))
    try:
        form.format(weekday="", day=1, month="", year=1)
    except (KeyError, IndexError, ValueError):
        raise CatalogueInvalid(
            f"{where}: day may use {{weekday}}, {{day}}, {{month}} and {{year}} only"
        ) from None
    soon = str(data.get("soon", behind.names.soon if behind is not None else ""))
    return Names(tuple(data["weekdays"]), tuple(data["months"]), form, soon)


def _add(data: dict[str, Any], more: Mapping[str, Any], where: str) -> None:
    for key, text in more.items():
        if key in _SETTINGS:
            raise CatalogueInvalid(f"{where}: {key} belongs into messages.yaml")
        if key in data:
            raise CatalogueInvalid(f"{where}: {key} stands in another file of this language too")
        data[key] = text


def build(
    lang: str,
    source: str,
    where: str,
    behind: Texts | None = None,
    parts: Mapping[str, str] | None = None,
) -> Texts:
    """Texts from the text of a file, and of the ``parts`` beside it by their names.

    Raises ``CatalogueInvalid``, also when a text stands in two files.
    """
    data = _read(source, where)
    for beside, text in (parts or {}).items():
        _add(data, _read(text, beside), beside)
    version = data.get("edition")
    if not isinstance(version, int) or isinstance(version, bool) or version < 1:
        raise CatalogueInvalid(f"{where}: edition must be a number from 1 up")
    raw = {key: str(value).strip() for key, value in data.items() if key not in _SETTINGS}
    own = {key: parse(f"{where}, {key}", text) for key, text in raw.items()}
    names = _names(data, where, behind)
    dated = [key for key, pieces in own.items() if any(piece.form == "day" for piece in pieces)]
    if dated and not names.weekdays:
        raise CatalogueInvalid(f"{where}: {dated[0]} shows a day: weekdays and months are missing")
    return Texts(lang, version, names, own, behind, raw)


class Catalogue:
    """All languages of one directory; each file is read once."""

    def __init__(self, root: Path | None = None) -> None:
        self._root = root
        self._texts: dict[str, Texts] = {}

    @classmethod
    def load(cls, lang: str = REFERENCE, root: Path | None = None) -> "Catalogue":
        """A catalogue with this language read and found good. Raises ``CatalogueError``."""
        catalogue = cls(root)
        catalogue.texts(lang)
        return catalogue

    def _base(self) -> Any:
        return self._root if self._root is not None else resources.files("bot.speak")

    def languages(self) -> list[str]:
        return sorted(
            entry.name for entry in self._base().iterdir() if (entry / "messages.yaml").is_file()
        )

    def texts(self, lang: str) -> Texts:
        """The texts of a language. Raises ``UnknownLanguage`` or ``CatalogueInvalid``."""
        if lang not in self._texts:
            self._texts[lang] = self._build(lang, ())
        return self._texts[lang]

    def best(self, lang: str) -> Texts:
        """The texts of a language, of its main part (``de`` for ``de-AT``), or the reference."""
        for candidate in (lang, lang.partition("-")[0], REFERENCE):
            try:
                return self.texts(candidate)
            except UnknownLanguage:
                continue
        raise UnknownLanguage(f"no texts for {lang!r}, and none for {REFERENCE!r} either")

    def _build(self, lang: str, asked: tuple[str, ...]) -> Texts:
        if lang in asked:
            raise CatalogueInvalid(f"the fallbacks of {', '.join(asked)} lead back to {lang}")
        if not lang.replace("-", "").isalnum():
            raise UnknownLanguage(f"{lang!r} is not the name of a language")
        path = self._base() / lang / "messages.yaml"
        if not path.is_file():
            raise UnknownLanguage(f"no texts for {lang!r}: bot/speak/{lang}/messages.yaml")
        first, *parts = sources(self._base() / lang)
        where, source = f"{lang}/{first[0]}", first[1]
        fallback = _read(source, where).get("fallback")
        behind = None
        if fallback is not None and fallback != lang:
            behind = self._build(str(fallback), (*asked, lang))
        return build(lang, source, where, behind, {f"{lang}/{name}": text for name, text in parts})


def sources(folder: Any) -> list[tuple[str, str]]:
    """The files of texts in the folder of a language, ``messages.yaml`` first."""
    names = sorted(
        entry.name for entry in folder.iterdir() if fnmatch(entry.name, "messages.*.yaml")
    )
    return [
        (name, folder.joinpath(name).read_text(encoding="utf-8"))
        for name in ("messages.yaml", *names)
    ]


@lru_cache(maxsize=1)
def standard() -> Catalogue:
    """The catalogue that ships with the program."""
    return Catalogue.load(REFERENCE)


def check(lang: str, catalogue: Catalogue | None = None) -> list[str]:
    """What a language lacks against the reference; empty when it is complete.

    Raises ``CatalogueError`` when its file cannot be read at all.
    """
    catalogue = catalogue or standard()
    reference, texts = catalogue.texts(REFERENCE), catalogue.texts(lang)
    wrong = [f"{lang}: {key}: not translated" for key in reference.own if key not in texts.own]
    for key, pieces in texts.own.items():
        if key not in reference.own:
            wrong.append(f"{lang}: {key}: no such text in {REFERENCE}")
            continue
        wanted, found = _used(reference.own[key]), _used(pieces)
        wrong += [f"{lang}: {key}: {name} is missing" for name in sorted(wanted - found)]
        wrong += [f"{lang}: {key}: {name} is not in {REFERENCE}" for name in sorted(found - wanted)]
        wrong += [f"{lang}: {key}: {what}" for what in _plain_faults(key, texts.raw[key])]
    return wrong


def _used(pieces: tuple[Piece, ...]) -> set[str]:
    return {
        f"{{{piece.name}:{piece.form}}}" if piece.form else f"{{{piece.name}}}"
        for piece in pieces
        if piece.name
    }


def _plain_faults(key: str, text: str) -> list[str]:
    if not text:
        return ["is empty"]
    if key.startswith("b_") and len(text) > LABEL_LENGTH:
        return [f"a button label has at most {LABEL_LENGTH} characters, this has {len(text)}"]
    return []
