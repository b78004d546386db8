"""How a reading of a sentence of the corpus is judged.

- right: what is said worst is read first, and all else that is said is among the readings; or it
  is unclear, unsure or a denial of danger, and is asked back. A described light that fits no one
  pattern of the runbook has to be asked back too, with what was said of it understood.
- asked: it is sure, but asked back.
- wrong: everything else; it would act on something that was not meant, or drop what was.

Besides: a danger, or a fault, that was missed, and danger where there is none.
"""

from collections.abc import Sequence
from typing import Literal, get_args

import msgspec

from bot.model.reading import Kind, Light, Reading
from bot.model.runbook import Runbook
from bot.model.serial import normal
from tests.model.corpus import HEARD, Label, Sentence, Shown, Word

Outcome = Literal["right", "asked", "wrong"]
#: Worst first, as readings are sorted; a denial stands where danger would.
_ORDER = ("danger", "denied", *get_args(Kind)[1:])
#: Lights that are not as they should be, by what the runbook does about them.
_TROUBLE_DO = frozenset(("call", "check_cable", "check_power"))
_WELL_DO = frozenset(("wait", "next", "success"))
_TROUBLE = frozenset(("no", "no_signal", "help", "stop"))
#: Beside trouble, other words for the same line that are no reason to go on either.
_BESIDE = _TROUBLE | {"unclear", "question", "later", "pause", "danger"}
_WELL = frozenset(("done", "yes", "seen"))
#: Plain words; where they do not answer what was asked, asking again is the only way on.
_PLAIN = frozenset(("yes", "no", "done", "seen"))
_ANSWERS: dict[str, frozenset[str]] = {
    "consent": frozenset(("yes", "no")),
    "begin": frozenset(("yes", "no", "done")),
    "mobile": frozenset(("yes", "done")),
    "confirm": frozenset(("done",)),
    "serial": frozenset(("yes", "no")),
}
#: Questions to which these two are the same answer.
_ALIKE, _SAME_FOR = frozenset(("yes", "done")), frozenset(("begin", "mobile"))


class Verdict(msgspec.Struct, frozen=True):
    """What became of one sentence; ``label`` and ``read`` are the kinds that stand first."""

    outcome: Outcome
    label: str
    read: str
    danger_missed: bool = False
    fault_missed: bool = False
    false_danger: bool = False


def judge(sentence: Sentence, readings: Sequence[Reading], book: Runbook) -> Verdict:
    """Judge the readings of one sentence."""
    label, first = sentence.label, acted_on(readings)
    said = any(_is_danger(r, "said") for r in readings)
    dangers = {word.kind for words in label.said for word in words}
    return Verdict(
        outcome=_outcome(sentence, readings, book),
        label=worst(label)[0].kind,
        read=_read_as(first),
        danger_missed=any(all(word.kind == "danger" for word in words) for words in label.said)
        and not (said or any(_is_danger(r, "asked") for r in readings)),
        fault_missed=is_trouble(label, book) and _goes_on(first, book),
        false_danger=said and "danger" not in dangers,
    )


def worst(label: Label) -> tuple[Word, ...]:
    """What a label says worst: the words that may be read first."""
    return min(label.said, key=lambda words: _ORDER.index(words[0].kind))


def acted_on(readings: Sequence[Reading]) -> Reading:
    """The first reading; that something is taken back only says how to take what stands beside."""
    return next((r for r in readings if r.kind != "correction"), readings[0])


def asks_back(reading: Reading) -> bool:
    """Whether the reading is not acted on but asked back."""
    doubt = _is_danger(reading, "asked") or _is_danger(reading, "denied")
    return bool(reading.ask) or reading.kind in ("unclear", "correction") or doubt


def _is_danger(reading: Reading, stance: str) -> bool:
    """``said``, ``asked`` or ``denied``: the last two are the reading's rule."""
    if reading.kind != "danger":
        return False
    return (reading.rule if reading.rule in ("asked", "denied") else "said") == stance


def _read_as(reading: Reading) -> str:
    return "denied" if _is_danger(reading, "denied") else reading.kind


def _outcome(sentence: Sentence, readings: Sequence[Reading], book: Runbook) -> Outcome:
    label, first = sentence.label, acted_on(readings)
    head = worst(label)
    if asks_back(first) and any(w.unsure or w.kind in ("unclear", "denied") for w in head):
        return "right"
    if any(_taken(word, first, sentence, book) for word in head):
        rest = [words for words in label.said if words is not head]
        heard = all(any(_same(w, r, book) for w in words for r in readings) for words in rest)
        taken_back = any(r.kind == "correction" for r in readings)
        if heard and (taken_back or not label.correction):
            return "right"
    return "asked" if asks_back(first) else "wrong"


def _taken(word: Word, reading: Reading, sentence: Sentence, book: Runbook) -> bool:
    """Whether the reading that is acted on is this word, and is acted on as it should be."""
    asked = HEARD[sentence.question].ask
    if not word.unsure and {word.kind, reading.kind} == _ALIKE and asked in _SAME_FOR:
        return not asks_back(reading)
    if word.value == "several" and asks_back(reading):
        return reading.kind == "light"
    if word.unsure or not _same(word, reading, book):
        return False
    if not asks_back(reading):
        return word.shown is None or bool(reading.pattern)
    if word.shown is not None:
        return not _sure(word.shown, book)
    if word.kind in _PLAIN:
        return word.kind not in _ANSWERS.get(str(asked), ())
    return word.kind == "later" and not word.value


def _sure(shown: Shown, book: Runbook) -> bool:
    """Whether a light as said can be acted on, and so should be; of red alone it is left open."""
    return len(patterns(shown, book)) == 1 and (shown.colours, shown.mode) != (("red",), "?")


def patterns(shown: Shown, book: Runbook) -> list[str]:
    """Names of the runbook's patterns that a described light fits."""
    wanted = {"?": {"steady", "slow", "fast"}, "blinking": {"slow", "fast"}}
    modes = {shown.rate} if shown.rate else wanted.get(shown.mode, {shown.mode})
    if shown.mode == "off":
        return [name for name, p in book.patterns.items() if p.mode == "off"]
    return [
        name
        for name, p in book.patterns.items()
        if p.mode in modes and len(shown.colours) == 1 and p.colour == shown.colours[0]
    ]


def _same(word: Word, reading: Reading, book: Runbook) -> bool:
    """Whether the reading says what the word says, whether it is sure or not."""
    if word.kind == "denied":
        return _is_danger(reading, "denied")
    if word.kind != reading.kind or _is_danger(reading, "denied"):
        return False
    if word.shown is not None:
        return _same_light(word.shown, reading, book)
    if word.kind == "later":
        return _same_time(word.value, reading)
    if word.kind == "serial":
        return normal(reading.value) == normal(word.value)
    return not word.value or reading.value == word.value


def _same_time(value: str, reading: Reading) -> bool:
    if not value:
        return reading.minutes is None and not reading.value
    if ":" not in value:
        return reading.minutes == int(value)
    hour, minute = value.split(":")
    other = f"{(int(hour) + 12) % 24:02}:{minute}"
    # Where the half of the day was not said, the site's next such time is meant.
    return reading.value == value or (reading.rule == "clock12" and reading.value == other)


def _same_light(shown: Shown, reading: Reading, book: Runbook) -> bool:
    if reading.pattern and not reading.ask:
        return patterns(shown, book) == [reading.pattern] or _called(shown, reading.pattern, book)
    light = reading.light
    if light is None or reading.value in ("same", "elsewhere"):
        return False
    return _colours(light) == set(shown.colours) and _mode(light) in _modes(shown)


def _called(shown: Shown, pattern: str, book: Runbook) -> bool:
    """Whether people are called for the one colour said: right however it is lit."""
    colour = book.patterns[pattern].colour
    return shown.colours == (colour,) and _does(pattern, book) == {"call"}


def _colours(light: Light) -> set[str]:
    return set(light.colours) | ({light.colour} if light.colour else set())


def _mode(light: Light) -> str:
    return light.mode or ("blinking" if light.blinking else "?")


def _modes(shown: Shown) -> set[str]:
    """How a reading may put the mode. What cannot be acted on is asked anyway: it may stay open."""
    if shown.mode == "blinking":
        return {shown.rate, "blinking", "?"} if shown.rate else {"blinking", "?"}
    return {shown.mode, "?"}


def is_trouble(label: Label, book: Runbook) -> bool:
    """Whether something is said because of which the visit must not just go on."""
    return any(_troubled(words, book) for words in label.said)


def _troubled(words: Sequence[Word], book: Runbook) -> bool:
    lights = [word for word in words if word.shown is not None and _bad(word.shown, book)]
    others = [word for word in words if word not in lights]
    some = bool(lights) or any(word.kind in _TROUBLE for word in others)
    return some and all(word.kind in _BESIDE for word in others)


def _bad(shown: Shown, book: Runbook) -> bool:
    """Whether one of the colours said is one of trouble only, or the light is off."""
    if shown.mode == "off":
        return True
    for colour in shown.colours:
        named = [name for name, p in book.patterns.items() if p.colour == colour]
        if named and all(_does(name, book) <= _TROUBLE_DO for name in named):
            return True
    return False


def _does(pattern: str, book: Runbook) -> set[str]:
    """What the stages do about a pattern."""
    return {stage.lights[pattern].do for stage in book.stages if pattern in stage.lights}


def _goes_on(reading: Reading, book: Runbook) -> bool:
    """Whether it would be acted on as if all were well."""
    if asks_back(reading):
        return False
    if reading.kind == "light" and reading.pattern:
        return _does(reading.pattern, book) <= _WELL_DO
    return reading.kind in _WELL
