"""Asking: the one open question, from the runbook or one of our own, and its buttons."""

from typing import Any

from msgspec.structs import replace

from bot.model.fact import Due
from bot.model.message import ANSWER, NUDGE, Button
from bot.model.policy import minutes
from bot.model.runbook import Ask, AskKind, Runbook, Stage
from bot.model.runbook_back_out import FAILS, WORKS
from bot.model.runbook_course import CHECK_ANSWERS, called, check_of
from bot.model.visit import event as e
from bot.model.visit.state import Question
from bot.model.visit.steps import current, length
from bot.model.visit.turn import Turn

#: Our own asks, which are of no runbook: answers of kind choice, by id.
OWN_ANSWERS: dict[str, tuple[str, ...]] = {
    "over": ("go_on", "stop_tonight"),
    "ready_carton": ("carton_fine", "carton_damaged", "carton_not_here"),
    "ready_contact": ("contact_yes", "contact_number", "contact_no"),
    "old_again": (WORKS, FAILS),
    "parked": ("parked", "driving"),
    "company": ("with_others", "alone"),
}
#: Answers to each kind of ask that has buttons of its own, with the style of the first.
_ANSWERS: dict[AskKind, tuple[str, ...]] = {
    "consent": ("yes", "other_time", "no"),
    "begin": ("here", "later", "not_tonight"),
    "mobile": ("done", "no_signal"),
    "confirm": ("done",),
    "serial": ("same", "different"),
    "version": (),
    "callback": (),
    "check": CHECK_ANSWERS,
}
#: Our own asks that want words, although their kind has buttons.
TYPED = frozenset({"serial_type", "serial_again", "serial_other", "ready_label_again"})


def ask_runbook(
    turn: Turn,
    stage: Stage,
    ask: Ask,
    *,
    text: str = "",
    window: int = 0,
    beside: tuple[str, ...] = (),
) -> None:
    """Ask what the runbook asks; ``text`` and ``window`` (ms) where they differ this time.

    ``beside``: texts that are said below it.
    """
    checkpoint, whole = minutes(stage.checkpoint), minutes(stage.window)
    if window:
        checkpoint, whole = min(checkpoint, window * 2 // 3), window
    put(
        turn,
        ask=ask.id,
        kind=ask.kind,
        text=text or _own_text(turn, ask) or ask.text,
        nudge=ask.nudge or ask.text,
        checkpoint=checkpoint,
        window=whole,
        answers=CHECK_ANSWERS if ask.kind == "check" else ask.answers,
        beside=beside,
    )


def _own_text(turn: Turn, ask: Ask) -> str:
    """How this thing is tried, where the runbook says it of it and not of all."""
    if ask.kind != "check":
        return ""
    book = turn.context.book
    check = check_of(book.checks, current(turn.visit, book).item)
    return check.text or "" if check is not None else ""


def ask_own(
    turn: Turn, ask: str, kind: AskKind, *, checkpoint: float, window: float, unit: str = ""
) -> None:
    """Ask one of our own questions; times in minutes. Its texts are named like it."""
    put(
        turn,
        ask=ask,
        kind=kind,
        text=ask,
        nudge=f"{ask}_nudge",
        checkpoint=minutes(checkpoint),
        window=minutes(window),
        answers=OWN_ANSWERS.get(ask, ()),
        unit=unit,
    )


def put(
    turn: Turn,
    *,
    ask: str,
    kind: AskKind,
    text: str,
    nudge: str,
    checkpoint: int,
    window: int,
    answers: tuple[str, ...] = (),
    unit: str = "",
    beside: tuple[str, ...] = (),
) -> None:
    """Make this the open question and say it; ``unit`` where it is not that of the step."""
    step = current(turn.visit, turn.context.book)
    question = Question(
        id=turn.next_id("q"),
        stage=step.stage.id,
        ask=ask,
        kind=kind,
        text=text,
        nudge=nudge,
        message="",
        made_at=turn.at,
        checkpoint=checkpoint,
        window=window,
        unit=unit or step.unit,
        item=step.item,
        answers=answers,
    )
    message = turn.say(
        text,
        buttons=buttons(question, turn.context.book),
        key="question",
        # What is asked of many sites in the same minute comes behind answers to people.
        urgency=NUDGE if isinstance(turn.fact, Due) else ANSWER,
        beside=beside,
        **particulars(turn, question),
    )
    turn.emit(e.Asked(replace(question, message=message)))


def put_again(turn: Turn, question: Question) -> Question:
    """Ask anew what was open before something else came between; its times begin again."""
    fresh = replace(
        question,
        id=turn.next_id("q"),
        made_at=turn.at,
        asked_at=None,
        heard_at=None,
        nudge_at=None,
        nudged=False,
        reported=False,
        extra=0,
        deputy_asked=False,
        late=False,
    )
    message = turn.say(
        fresh.text,
        buttons=buttons(fresh, turn.context.book),
        key="question",
        **particulars(turn, fresh),
    )
    fresh = replace(fresh, message=message)
    turn.emit(e.Asked(fresh))
    return fresh


def ask_again(turn: Turn) -> None:
    """Say the open question once more, as the team wishes; its times do not change."""
    question = turn.visit.question
    if question is None or turn.visit.blocked:
        turn.answer = "nothing"
        return
    prompt(turn, question, question.text)


def rearm(turn: Turn) -> None:
    """A question that had become a call counts anew: its people were heard again."""
    question = turn.visit.question
    if question is not None and question.late:
        turn.emit(e.Rearmed(question.id))


def particulars(turn: Turn, question: Question) -> dict[str, Any]:
    """What a question's text may name: unit, times, what to keep."""
    visit, book = turn.visit, turn.context.book
    unit = visit.unit(question.unit)
    return {
        "serial": unit.serial if unit else "",
        "model": unit.model if unit else "",
        "start": visit.start,
        "visit": length(book, visit.site),
        "checkpoint": question.checkpoint,
        "until": turn.at + question.checkpoint,
        "now": turn.at,
        "keep": f"@x:{book.keep[0]}" if book.keep else "",
        "throw": f"@x:{book.throw[0]}" if book.throw else "",
        "asked": f"@x:{question.nudge}",
        "item": _item(question, book, visit.lang),
    }


def _item(question: Question, book: Runbook, lang: str) -> str:
    """What of the site list it is about, as the runbook calls it where it knows it."""
    return called(book.checks, question.item, lang) if question.kind == "check" else question.item


def buttons(question: Question, book: Runbook) -> tuple[Button, ...]:
    """One button for every expected answer, and one for a person where it makes sense."""
    values: tuple[str, ...]
    if question.kind == "light":
        values = tuple(f"light:{name}" for name in book.stage(question.stage).lights)
    elif question.ask in TYPED:
        values = ()
    else:
        values = question.answers or _ANSWERS.get(question.kind, ())
    lead = question.kind in ("consent", "begin", "mobile", "confirm", "check")
    made = [
        Button(
            f"a:{question.id}:{value}",
            _label(value, book),
            "primary" if lead and i == 0 else "",
        )
        for i, value in enumerate(values)
    ]
    if question.kind != "consent":
        made.append(Button(f"v:{question.id}:help", "b_help"))
    return tuple(made)


def allowed(question: Question, book: Runbook) -> frozenset[str]:
    """The answers that its buttons give."""
    made = (button.action.split(":", 2) for button in buttons(question, book))
    return frozenset(value for kind, _, value in made if kind == "a")


def prompt(turn: Turn, question: Question, template: str, **more: Any) -> None:
    """Say something about the open question, with its buttons; it stays the question."""
    turn.say(
        template,
        buttons=buttons(question, turn.context.book),
        key="prompt",
        **particulars(turn, question) | more,
    )


def _label(value: str, book: Runbook) -> str:
    if value.startswith("light:"):
        return book.patterns[value.removeprefix("light:")].means
    return f"b_{value}"
