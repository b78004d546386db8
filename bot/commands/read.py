"""``musterline read``: shows what the reader makes of a person's words, and why.

One JSON object a message: what is acted on first, and under ``readings`` all that was
understood. Each has ``kind``, ``danger``, ``colours``, ``mode`` (steady, blinking, off), ``rate``
(slow, fast), ``pattern``, ``minutes``, ``value``, ``confidence``, ``rule``, ``ask`` and
``question``: the text that would be asked back, empty when nothing is. ``corrects`` says that it
takes back what was said before.
"""

import argparse
import json
import sys
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import NamedTuple

from bot.model.lexicon import Lexicon
from bot.model.reader import read
from bot.model.reading import Heard, Light, Reading
from bot.model.runbook import Ask, Runbook, Stage
from bot.runbooks.load import RunbookError, load
from bot.speak.catalogue import Texts, standard
from bot.speak.lexicon import every_lexicon, languages, lexicon

_SAYS = {
    "danger": "danger: the visit stops at once",
    "stop": "the site must stop",
    "help": "a person is wanted",
    "correction": "what was said before is taken back",
    "power_cycled": "the unit lost power, or was switched off and on",
    "no": "a no",
    "light": "a light is described",
    "serial": "a serial number",
    "version": "a software version",
    "choice": "one of the listed answers",
    "later": "more time is needed",
    "pause": "a pause is wanted",
    "no_signal": "the phone has no signal",
    "number": "a telephone number is given",
    "language": "another language is wanted",
    "question": "something is asked back",
    "done": "it is done",
    "yes": "a yes",
    "seen": "read, but not done",
    "thanks": "thanks",
    "small_talk": "small talk",
    "unclear": "not understood",
}


class _Asking(NamedTuple):
    """What is asked back, in the texts of one language and the runbook's words."""

    texts: Texts
    words: Mapping[str, str]

    def text(self, key: str) -> str:
        return self.texts.say(key, self.words, lenient=True) if key else ""


class _Unusable(Exception):
    """The command cannot be carried out; the text says why in one sentence."""


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("read", help="show how a contact's words are understood")
    parser.add_argument("--runbook", type=Path, required=True, metavar="FILE")
    parser.add_argument("--stage", required=True, help="the stage in which it is said")
    parser.add_argument(
        "--question",
        metavar="ASK",
        help="the open question (default: the stage's last); callback: a number to call was asked"
        " for; none: nothing is open",
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
    texts = standard().best(args.language)
    asking = _Asking(texts, book.words.get(args.language, book.words["en"]))
    messages: Iterable[str] = _lines() if args.words == "-" else [args.words]
    for words in messages:
        readings = read(words, heard, book, words_known, dangers=every_lexicon())
        shown = _explained(words, readings, asking) if args.explain else None
        print(_json(words, readings, asking) if shown is None else shown, flush=True)
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
    if ask_id == "callback":
        return Heard(stage=stage.id, ask="callback")
    if ask_id == "none":
        return Heard(stage=stage.id)
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


def _json(words: str, readings: list[Reading], asking: _Asking) -> str:
    """What is acted on, whether it takes something back, and all readings."""
    acted_on = next((r for r in readings if r.kind != "correction"), readings[0])
    told = [_plain(reading, asking) for reading in readings]
    shown = {
        "words": words,
        **_plain(acted_on, asking),
        "corrects": any(reading.kind == "correction" for reading in readings),
        "readings": told,
    }
    return json.dumps(shown, ensure_ascii=False)


def _plain(reading: Reading, asking: _Asking) -> dict[str, object]:
    light = reading.light or Light()
    mode = light.mode
    return {
        "kind": reading.kind,
        "danger": reading.kind == "danger",
        "colours": list(light.colours),
        "mode": "blinking" if light.blinking else mode,
        "rate": mode if mode in ("slow", "fast") else None,
        "pattern": reading.pattern,
        "minutes": reading.minutes,
        "value": reading.value,
        "confidence": reading.confidence,
        "rule": reading.rule,
        "ask": reading.ask,
        "question": asking.text(reading.ask),
    }


def _explained(words: str, readings: list[Reading], asking: _Asking) -> str:
    told = (f"  {_sentence(reading, asking)}" for reading in readings)
    return "\n".join([f"{words!r}:", *told])


def _sentence(reading: Reading, asking: _Asking) -> str:
    parts = [_SAYS[reading.kind]]
    if reading.light is not None:
        colours = " and ".join(reading.light.colours) or "no colour said"
        shown = "blinking" if reading.light.blinking else "steady or blinking not said"
        mode = reading.light.mode or shown
        mode = f"blinking {mode}" if mode in ("slow", "fast") else mode
        parts.append(f"({colours}, {mode})")
    if reading.pattern:
        parts.append(f"which is {reading.pattern}")
    if reading.minutes is not None:
        parts.append(f"({reading.minutes} minutes)")
    if reading.value:
        parts.append(f"({reading.value})")
    parts.append(f"- by rule {reading.rule}, confidence {reading.confidence:.1f}")
    if reading.ask:
        parts.append(f"- not sure enough: asks back {reading.ask}, {asking.text(reading.ask)!r}")
    return " ".join(parts)
