"""Which answer a reading gives to a question."""

from bot.model.reading import Reading
from bot.model.serial import normal
from bot.model.visit.asks import TYPED
from bot.model.visit.state import Question

_PLAIN: dict[tuple[str, str], str] = {
    ("consent", "yes"): "yes",
    ("consent", "no"): "no",
    ("begin", "yes"): "here",
    ("begin", "done"): "here",
    ("begin", "no"): "not_tonight",
    ("mobile", "done"): "done",
    ("mobile", "yes"): "done",
    ("mobile", "no_signal"): "no_signal",
    ("confirm", "done"): "done",
    ("serial", "yes"): "same",
    ("serial", "no"): "different",
    ("check", "yes"): "works",
    ("check", "done"): "works",
    ("check", "no"): "broken",
    ("check", "no_signal"): "broken",
}


def answer_of(reading: Reading, question: Question) -> str:
    """The answer a reading gives to the open question; empty when it gives none."""
    kind, ask = reading.kind, question.kind
    if question.answers and (kind == "choice" or ask != "check"):
        return reading.value if kind == "choice" and reading.value in question.answers else ""
    if ask in ("serial", "version") and kind == ask:
        return reading.value
    if question.ask in TYPED:
        return ""
    return _PLAIN.get((ask, kind), "")


def in_one_form(answer: str, question: Question) -> str:
    """The answer so that two can be compared: a serial typed, or said to be the same."""
    if question.kind == "serial" and answer not in ("same", "different"):
        return "same" if normal(answer) == normal(question.unit) else f"typed {normal(answer)}"
    return answer.removeprefix("light:")
