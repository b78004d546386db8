"""``musterline read``: shows what the reader makes of a person's words, and why."""

import argparse
import json
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path

import msgspec

from bot.model.lexicon import Lexicon
from bot.model.reader import read
from bot.model.reading import Heard, Reading
from bot.model.runbook import Ask, Runbook, Stage
from bot.runbooks.load import RunbookError, load
from bot.speak.lexicon import every_lexicon, languages, lexicon

_SAYS = {
    "danger": "danger: the visit stops at once",
    "stop": "the site must stop",
    "help": "a person is wanted",
    "power_cycled": "the unit lost power, or was switched off and on",
    "no": "a no",
    "light": "a light is described",
    "serial": "a serial number",
    "version": "a software version",
    "choice": "one of the listed answers",
    "later": "more time is needed",
    "pause": "a pause is wanted",
    "no_signal": "the phone has no signal",
    "question": "something is asked back",
    "done": "it is done",
    "yes": "a yes",
    "seen": "read, but not done",
    "thanks": "thanks",
    "small_talk": "small talk",
    "unclear": "not understood",
}


class _Unusable(Exception):
    """The command cannot be carried out; the text says why in one sentence."""


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("read", help="show how a contact's words are understood")
    parser.add_argument("--runbook", type=Path, required=True, metavar="FILE")
    parser.add_argument("--stage", required=True, help="the stage in which it is said")
    parser.add_argument(
        "--question", metavar="ASK", help="the open question (default: the stage's last)"
    )
    parser.add_argument("--language", default="en", help="the contact's language (default: en)")
    parser.add_argument("--explain", action="store_true", help="say it in words, not as JSON")
    parser.add_argument("words", help="what was said; - reads one message from each line of input")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print one line for each message: a JSON object, or an explanation."""
    try:
        book = _book(args.runbook)
        heard = _heard(book, args.stage, args.question)
        words_known = _lexicon(args.language)
    except _Unusable as error:
        print(error, file=sys.stderr)
        return 2
    messages: Iterable[str] = _lines() if args.words == "-" else [args.words]
    for words in messages:
        readings = read(words, heard, book, words_known, dangers=every_lexicon())
        print(_explained(words, readings) if args.explain else _json(words, readings), flush=True)
    return 0


def _lexicon(language: str) -> Lexicon:
    if language not in languages():
        known = ", ".join(languages())
        raise _Unusable(f"There are no words for language {language}; known: {known}.")
    return lexicon(language)


def _lines() -> Iterator[str]:
    """Lines of the input as they come; bytes that are no text are shown as such, not refused."""
    for line in sys.stdin.buffer:
        yield line.decode("utf-8", "replace").rstrip("\r\n")


def _book(path: Path) -> Runbook:
    try:
        return load(path)
    except OSError as error:
        raise _Unusable(f"{path} cannot be read: {error.strerror}.") from error
    except RunbookError as error:
        first, rest = error.problems[0], len(error.problems) - 1
        more = f" ({rest} more; see musterline runbook check)" if rest else ""
        raise _Unusable(f"{path}: {first}{more}") from error


def _heard(book: Runbook, stage_id: str, ask_id: str | None) -> Heard:
    stages = {stage.id: stage for stage in book.stages}
    stage = stages.get(stage_id)
    if stage is None:
        known = ", ".join(stages)
        raise _Unusable(f"There is no stage {stage_id} in the runbook; it has {known}.")
    ask = _ask(stage, ask_id)
    return Heard(stage=stage.id, ask=ask.kind, answers=ask.answers)


def _ask(stage: Stage, ask_id: str | None) -> Ask:
    if ask_id is None:
        return stage.asks[-1]
    for ask in stage.asks:
        if ask.id == ask_id:
            return ask
    known = ", ".join(ask.id for ask in stage.asks)
    raise _Unusable(f"Stage {stage.id} does not ask {ask_id}; it asks {known}.")


def _json(words: str, readings: list[Reading]) -> str:
    """The first reading is what is acted on; all of them stand in ``readings``."""
    told = [_plain(reading) for reading in readings]
    return json.dumps({"words": words, **told[0], "readings": told}, ensure_ascii=False)


def _plain(reading: Reading) -> dict[str, object]:
    made: dict[str, object] = msgspec.to_builtins(reading)
    light = reading.light
    made["light"] = None if light is None else {"colour": light.colour, "mode": light.mode}
    return made


def _explained(words: str, readings: list[Reading]) -> str:
    return "\n".join([f"{words!r}:", *(f"  {_sentence(reading)}" for reading in readings)])


def _sentence(reading: Reading) -> str:
    parts = [_SAYS[reading.kind]]
    if reading.light is not None:
        colour = reading.light.colour or "no colour said"
        parts.append(f"({colour}, {reading.light.mode or 'steady or blinking not said'})")
    if reading.pattern:
        parts.append(f"which is {reading.pattern}")
    if reading.minutes is not None:
        parts.append(f"({reading.minutes} minutes)")
    if reading.value:
        parts.append(f"({reading.value})")
    parts.append(f"- by rule {reading.rule}, confidence {reading.confidence:.1f}")
    if reading.ask:
        parts.append(f"- not sure enough: asks back {reading.ask}")
    return " ".join(parts)
