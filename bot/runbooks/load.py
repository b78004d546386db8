"""Loading a runbook, with every problem named by line and column and a way to mend it."""

import difflib
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Self, get_args

from pydantic import BaseModel, ValidationError, model_validator
from pydantic_core import ErrorDetails

from bot.model.runbook import (
    Answer,
    Ask,
    Blink,
    Cause,
    Eligible,
    Limits,
    Pattern,
    Route,
    Runbook,
    Seen,
    SiteCheck,
    Stage,
    problems,
)
from bot.model.runbook_back_out import BackOut
from bot.model.runbook_cautions import Cautions, CheckIn
from bot.model.runbook_leaving import Leaving
from bot.model.runbook_morning import MorningSection
from bot.model.runbook_returns import Returns
from bot.runbooks.places import NotReadable, Places, Problem, Where, parse, read

_PARTS: tuple[type[BaseModel], ...] = (
    Runbook,
    Leaving,
    MorningSection,
    Stage,
    Ask,
    Answer,
    Seen,
    Limits,
    Route,
    Blink,
    Pattern,
    Eligible,
    BackOut,
    Cautions,
    CheckIn,
    SiteCheck,
    Returns,
)
#: By the kind of pydantic's error; ``{...}`` come from its context.
_REMEDIES = {
    "missing": "Add it",
    "greater_than": "Write a number above {gt}",
    "greater_than_equal": "Write a number of at least {ge}",
    "less_than_equal": "Write a number of at most {le}",
    "string_pattern_mismatch": "Write it in the form {pattern}",
    "float_type": "Write a number",
    "float_parsing": "Write a number",
    "finite_number": "Write a number",
    "int_type": "Write a whole number",
    "bool_parsing": "Write true or false",
    "bool_type": "Write true or false",
    "string_type": 'Put the value in quotes, as in "off"',
    "tuple_type": "Write a list: one line for each, with a dash before it",
    "dict_type": "Write a name, a colon and a value on each line",
    "model_type": "Write a name, a colon and a value on each line",
    "too_short": "Add at least {min_length}",
}

_FORMS = {
    "least_version": "numbers with dots: 4.2.0",
    "id": "small letters, digits and _: power_on",
    "topic": "small letters, digits and _: how_long",
    "family": "letters, digits, dots, dashes: branch-gateway",
}


class RunbookError(Exception):
    """A runbook cannot be used; ``problems`` says where and why, in the order of the file."""

    def __init__(self, path: Path, found: list[Problem]) -> None:
        super().__init__("\n".join(f"{path}: {problem}" for problem in found))
        self.path = path
        self.problems = found


class _Loose(Runbook):
    """A runbook whose parts are right; that they fit together is not yet looked at."""

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        return self


def load(path: Path) -> Runbook:
    """Load a runbook. Raises ``RunbookError``, or ``OSError`` when it cannot be opened."""
    try:
        return _validated(read(path), path)
    except NotReadable as error:
        raise RunbookError(path, error.problems) from error


def loads(text: str, path: Path = Path("runbook.yaml")) -> Runbook:
    """Load a runbook from its text. Raises ``RunbookError``."""
    try:
        return _validated(parse(text), path)
    except NotReadable as error:
        raise RunbookError(path, error.problems) from error


def _validated(places: Places, path: Path) -> Runbook:
    try:
        loose = _Loose.model_validate(places.data)
    except ValidationError as error:
        found = sorted({_explained(details, places) for details in error.errors()})
        raise RunbookError(path, found) from error
    misfits = [_located(sentence, loose, places) for sentence in problems(loose)]
    if misfits:
        raise RunbookError(path, sorted(set(misfits)))
    return Runbook.model_validate(places.data)


def _explained(error: ErrorDetails, places: Places) -> Problem:
    where = tuple(step for step in error["loc"] if step != "[key]")
    kind, context = error["type"], error.get("ctx", {})
    if kind == "string_pattern_mismatch":
        context = {"pattern": _FORMS.get(str(where[-1]), "the schema gives")}
    if kind == "missing":
        what, remedy = f"{where[-1]} is missing", f"Add {where[-1]}"
        return places.problem(where, what, remedy)
    if kind == "extra_forbidden":
        return places.problem(where, f"{where[-1]} is not known here", _meant(str(where[-1])))
    if kind == "value_error":
        what = str(context.get("error", error["msg"]))
        return places.problem(where, what, _mend(what))
    if kind == "literal_error":
        return _not_one_of(places, where, error)
    what = error["msg"].removeprefix("Input ").replace("valid tuple", "list")
    value = error.get("input")
    shown = "" if isinstance(value, dict | list) else f", not {_short(value)}"
    remedy = _REMEDIES.get(kind, "Correct the value").format_map(_Context(context))
    return places.problem(where, f"the value {what}{shown}", remedy)


def _not_one_of(places: Places, where: Where, error: ErrorDetails) -> Problem:
    value, allowed = error.get("input"), str(error.get("ctx", {}).get("expected", ""))
    if isinstance(value, bool) and "'off'" in allowed:
        what = "on and off without quotes are read as true and false"
        return places.problem(where, what, 'Write "off", with the quotes')
    names = re.findall(r"'(\w+)'", allowed)
    near = difflib.get_close_matches(str(value), names, n=1)
    meant = f"Did you mean {near[0]}? Allowed: " if near else "Allowed: "
    return places.problem(where, f"{_short(value)} is not allowed here", meant + allowed)


class _Context(dict[str, Any]):
    def __missing__(self, key: str) -> str:
        return f"the allowed {key}"


def _short(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 40 else f"{text[:37]}..."


def _meant(key: str) -> str:
    names = sorted({name for part in _PARTS for name in part.model_fields} | set(get_args(Cause)))
    near = difflib.get_close_matches(key, names, n=1)
    return f"Did you mean {near[0]}? Otherwise remove it" if near else "Remove it"


_MENDS = (
    (r"window is shorter", "Make the window at least as long as the checkpoint"),
    (r"light that is off", 'Leave out colour where mode is "off", and give one elsewhere'),
    (r"two stages have", "Give each stage an id of its own"),
    (r"two asks have", "Give each ask an id of its own"),
    (r"not among the patterns", "Add the pattern, or use the name of one"),
    (r"lists no lights", "Add lights with what to do about each"),
    (r"answers go with", "Give answers to the choice, and to nothing else"),
    (r"missing lists no", "Use the names that stand in answers"),
    (r"exactly one stage", "Set waits_for_registration: true in the one stage it closes"),
    (r"scope unit must", "Put the stages of scope unit one after another"),
    (r"^routing: cause", "Add a line for it under routing"),
    (r"a phrase has no words", "Write words that somebody would type"),
    (r"topic stands there twice", "Put the phrases of both under one topic"),
    (r"there is no stage", "Use the id of a stage, or leave stages out"),
    (r"stands on no sheet", "Add it under sheet, or under vehicle"),
    (r"stands apart but has none", "Give the stage its cautions, or take it out of apart"),
    (r"^words: English", "Add en under words"),
)


def _mend(sentence: str) -> str:
    return next((mend for form, mend in _MENDS if re.search(form, sentence)), "Correct it")


def _located(sentence: str, book: Runbook, places: Places) -> Problem:
    """A problem between parts, put where its sentence points."""
    return places.problem(tuple(_pointed(sentence, book)), sentence, _mend(sentence))


def _pointed(sentence: str, book: Runbook) -> Iterator[str | int]:
    stage_id = re.match(r"stage (\w+): (?:ask (\w+): )?(?:light (\S+) )?", sentence)
    if stage_id is None:
        head, _, rest = sentence.partition(": ")
        yield head if head in Runbook.model_fields else "stages"
        if head == "answers":
            topics = [answer.topic for answer in book.answers]
            topic = rest.partition(":")[0]
            yield _twice(topics) if "twice" in rest else topics.index(topic)
        if "same id" in sentence:
            yield _twice([stage.id for stage in book.stages])
        return
    yield "stages"
    index, stage = next((i, s) for i, s in enumerate(book.stages) if s.id == stage_id[1])
    yield index
    if "same id" in sentence:
        yield "asks"
        yield _twice([ask.id for ask in stage.asks])
    elif stage_id[2]:
        yield "asks"
        yield next(i for i, ask in enumerate(stage.asks) if ask.id == stage_id[2])
    elif stage_id[3]:
        yield "lights"
        yield stage_id[3]


def _twice(ids: list[str]) -> int:
    """Where the first id stands that was there before."""
    return next(index for index, one in enumerate(ids) if one in ids[:index])
