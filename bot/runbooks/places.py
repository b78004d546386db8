"""Reading YAML with the place of everything kept, and refusing what no runbook needs.

No anchors and aliases (a few lines of them unfold into millions), no deep nesting, no large
files, no key twice.
"""

from pathlib import Path
from typing import Any

import msgspec
import yaml

LARGEST = 256 * 1024  # bytes
DEEPEST = 24
_FIRST = (1, 1)

Where = tuple[str | int, ...]


class Problem(msgspec.Struct, frozen=True, kw_only=True, order=True):
    """One thing wrong in a file: the place (counted from 1), what it is, and the remedy."""

    line: int
    column: int
    where: str = ""  # for example stages.3.window
    what: str
    remedy: str

    def __str__(self) -> str:
        where = f"{self.where}: " if self.where else ""
        return f"line {self.line}, column {self.column}: {where}{self.what}. {self.remedy}."


class NotReadable(Exception):
    """The file cannot be read as YAML at all; ``problems`` says why."""

    def __init__(self, *problems: Problem) -> None:
        super().__init__("; ".join(str(problem) for problem in problems))
        self.problems = list(problems)


class Places:
    """A YAML document: its data, and where each part of it stands."""

    def __init__(self, root: yaml.Node, data: Any) -> None:
        self.data = data
        self._root = root

    def at(self, where: Where) -> tuple[int, int]:
        """Line and column of the deepest part of ``where`` that is there."""
        node, mark = self._root, self._root.start_mark
        for step in where:
            if isinstance(node, yaml.MappingNode):
                pair = next((p for p in node.value if p[0].value == str(step)), None)
                if pair is None:
                    break
                mark, node = pair[0].start_mark, pair[1]
            elif isinstance(node, yaml.SequenceNode) and isinstance(step, int):
                if step >= len(node.value):
                    break
                node = node.value[step]
                mark = node.start_mark
            else:
                break
        return mark.line + 1, mark.column + 1

    def problem(self, where: Where, what: str, remedy: str) -> Problem:
        line, column = self.at(where)
        path = ".".join(str(step) for step in where)
        return Problem(line=line, column=column, where=path, what=what, remedy=remedy)


def read(path: Path) -> Places:
    """Read a file. Raises ``NotReadable``, or ``OSError`` when there is no such file."""
    with path.open("rb") as file:
        raw = file.read(LARGEST + 1)
    if len(raw) > LARGEST:
        raise _refused(
            _FIRST, "the file is larger than 256 KiB", "Split it, or leave out what is no runbook"
        )
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        column = error.start - raw.rfind(b"\n", 0, error.start)
        raise _refused((line, column), "this is no UTF-8 text", "Save the file as UTF-8") from error
    return parse(text)


def parse(text: str) -> Places:
    """Read a text. Raises ``NotReadable``."""
    try:
        _refuse_tricks(text)
        loader = yaml.SafeLoader(text)
        try:
            root = loader.get_single_node()
            if root is None:
                raise _refused(_FIRST, "the file is empty", "Start from the sample runbook")
            _refuse_doubles(root)
            return Places(root, loader.construct_document(root))
        finally:
            loader.dispose()
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        place = (mark.line + 1, mark.column + 1) if mark else _FIRST
        what = " ".join(part for part in (error.context, error.problem) if part)
        raise _refused(
            place, f"not YAML: {what}", "Check colons, indents and quotes here"
        ) from error
    except yaml.reader.ReaderError as error:
        before = text[: error.position]
        place = (before.count("\n") + 1, len(before) - before.rfind("\n"))
        raise _refused(place, "a character that no text file holds", "Delete it") from error
    except ValueError as error:  # a date or number that is none, found while building values
        raise _refused(_FIRST, f"not YAML: {error}", "Put the value in quotes") from error


def _refused(place: tuple[int, int], what: str, remedy: str) -> NotReadable:
    return NotReadable(Problem(line=place[0], column=place[1], what=what, remedy=remedy))


def _refuse_tricks(text: str) -> None:
    """Aliases and depth, seen before anything is built."""
    depth = 0
    for event in yaml.parse(text, yaml.SafeLoader):
        mark = event.start_mark
        place = (mark.line + 1, mark.column + 1) if mark else _FIRST
        if isinstance(event, yaml.AliasEvent) or getattr(event, "anchor", None):
            raise _refused(place, "anchors and aliases are not allowed", "Write the value out")
        if isinstance(event, yaml.CollectionStartEvent):
            depth += 1
        elif isinstance(event, yaml.CollectionEndEvent):
            depth -= 1
        if depth > DEEPEST:
            raise _refused(place, "nested too deeply for a runbook", "Check the brackets")


def _refuse_doubles(node: yaml.Node) -> None:
    problems: list[Problem] = []
    _find_doubles(node, (), problems)
    if problems:
        raise NotReadable(*sorted(problems))


def _find_doubles(node: yaml.Node, where: Where, problems: list[Problem]) -> None:
    if isinstance(node, yaml.SequenceNode):
        for index, item in enumerate(node.value):
            _find_doubles(item, (*where, index), problems)
    if not isinstance(node, yaml.MappingNode):
        return
    first: dict[str, int] = {}
    for key, value in node.value:
        line, column = key.start_mark.line + 1, key.start_mark.column + 1
        name = key.value if isinstance(key, yaml.ScalarNode) else ""
        path = ".".join(str(step) for step in (*where, name))
        if not isinstance(key, yaml.ScalarNode):
            what, remedy = "a key must be one word", "Write a plain name before the colon"
            problems.append(Problem(line=line, column=column, where=path, what=what, remedy=remedy))
        elif name in first:
            what = f"{name!r} stands here twice, first on line {first[name]}"
            remedy = "Keep one of the two"
            problems.append(Problem(line=line, column=column, where=path, what=what, remedy=remedy))
        first.setdefault(name, line)
        _find_doubles(value, (*where, name), problems)
