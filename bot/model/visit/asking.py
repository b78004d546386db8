"""What we ask and tell in between: asking back, questions back, refusals, kind lines.

Nothing is said twice running: of the texts that would fit the first is taken that was not the
last one said, and where none is left there is silence. What was heard is on record all the same.
"""

from typing import Any

from bot.model.message import Button
from bot.model.policy import minutes
from bot.model.reading import Reading
from bot.model.runbook import Answer
from bot.model.serial import normal
from bot.model.visit import event as e
from bot.model.visit.answers import raise_and_say
from bot.model.visit.asks import particulars, prompt
from bot.model.visit.catching_up import PROGRESS, catch_up
from bot.model.visit.listening import Words, lang_of
from bot.model.visit.state import Question
from bot.model.visit.steps import current, length
from bot.model.visit.turn import Turn

#: How often we ask back about one question before a person is called.
_ASK_BACK = 2
#: Kinds of question at which there is something to do first, and then to say so.
TO_DO = frozenset(("confirm", "mobile"))
#: Questions with which a conversation begins.
_MEETING = frozenset(("consent", "begin"))
#: Asks for the one thing still missing, so it is worth asking although it is the second time.
_ONE_MORE = frozenset(("ask_colour", "ask_steady_or_blinking", "ask_fast_or_slow"))
#: What thanks and small talk get, at most one of them for each question.
_KIND_LINES = ("welcome", "kind_line", "hello_agreed", "all_done")


def reply(turn: Turn, *templates: str, **args: Any) -> None:
    """Say the first of these that was not the last thing said; else nothing."""
    for template in templates:
        if template != turn.visit.replied:
            turn.say(template, key="prompt", **args)
            return


def prompt_with(turn: Turn, question: Question, *templates: str) -> None:
    """The same with the buttons of the open question."""
    for template in templates:
        if template != turn.visit.replied:
            prompt(turn, question, template)
            return


def ask_back(turn: Turn, question: Question, template: str, *others: str) -> None:
    """One short question with buttons, never twice the same; then a person is called."""
    if question.asked_back >= _ASK_BACK:
        raise_and_say(turn, "not_understood", "help_coming")
        return
    turn.emit(e.AskedBack(question.id))
    if "refused" in question.lines:
        turn.say("refused_again", buttons=_choices(question), key="prompt")
    elif question.asked_back and not (template in _ONE_MORE and template not in question.lines):
        # an invitation has no button for a person, so the word is offered there
        person = "write_help" if question.kind == "consent" else "ask_person"
        prompt_with(turn, question, person, "ask_again")
    else:
        prompt_with(turn, question, template or "ask_again", *others, "ask_again", "ask_person")


def refused(turn: Turn, question: Question) -> None:
    """They will not, or cannot: accepted, no reason asked, and what they may choose instead."""
    if question.asked_back >= _ASK_BACK:
        raise_and_say(turn, "help", "help_coming")
        return
    turn.emit(e.AskedBack(question.id))
    template = "refused" if "refused" not in question.lines else "refused_again"
    turn.say(template, buttons=_choices(question), key="prompt")


def _choices(question: Question) -> tuple[Button, ...]:
    return (
        Button(f"v:{question.id}:more10", "b_more10"),
        Button(f"v:{question.id}:help", "b_help"),
        Button(f"v:{question.id}:other_evening", "b_other_evening"),
    )


def known_already(turn: Turn, reading: Reading) -> bool:
    """Whether a number from the label is one we have: an answer to a step that is past."""
    units = turn.visit.units
    if reading.kind == "version":
        return any(u.version == reading.value for u in units)
    return any(normal(u.serial) == normal(reading.value) for u in units)


# --- kind lines ---------------------------------------------------------------------------


def kind_line(turn: Turn, kind: str) -> None:
    """Thanks and small talk get one kind line for each question, then silence.

    Who only says hello to an invitation, or when we ask whether they are there, is asked shortly.
    """
    question = turn.visit.question
    if kind == "small_talk" and question is not None and question.kind in _MEETING:
        if not {question.nudge, *_KIND_LINES} & set(question.lines):
            prompt(turn, question, question.nudge)
        return
    template = "welcome" if kind == "thanks" else _kind_words(turn)
    _once(turn, template, _KIND_LINES)


def _kind_words(turn: Turn) -> str:
    """What fits a greeting or a joke: before, in the middle, and after."""
    if turn.visit.state in ("done", "watched"):
        return "all_done"
    return "hello_agreed" if turn.visit.state == "agreed" else "kind_line"


def seen(turn: Turn, question: Question) -> None:
    """An *ok* or a thumb: read, not done. One line for each question, then silence."""
    template = "seen_to_do" if question.kind in TO_DO else "seen_to_answer"
    if template not in question.lines:
        prompt(turn, question, template)


def _once(turn: Turn, template: str, lines: tuple[str, ...]) -> None:
    question = turn.visit.question
    said = question.lines if question is not None else (turn.visit.replied,)
    if not set(lines) & set(said):
        turn.say(template, key="prompt", start=turn.visit.start)


# --- questions back -----------------------------------------------------------------------


def question_back(turn: Turn, question: Question, words: Words) -> None:
    """What the runbook knows is told; else the step is named again; then a person is called."""
    if told(turn, words):
        return
    if question.puzzled:
        raise_and_say(turn, "help", "question_from_you")
        return
    turn.emit(e.Puzzled(question.id))
    if question.kind == "callback" or about_the_step(turn, words):
        prompt_with(turn, question, question.nudge, question.text, "question_unknown")
    else:
        prompt_with(turn, question, "question_unknown", question.nudge)


def told(turn: Turn, words: Words, *, beside: bool = False) -> bool:
    """Tell what the runbook knows about it; false when it knows nothing, or has just said so.

    ``beside``: the next question follows at once, and says itself where we are.
    """
    found = answer_to(turn, words)
    if found is None or (beside and found.text == PROGRESS):
        return False
    if found.text == PROGRESS:
        catch_up(turn)
        return True
    question = turn.visit.question
    if found.text == turn.visit.replied or (question and found.text in question.lines):
        return False  # it did not help
    turn.say(found.text, key="prompt", **facts(turn))
    return True


def answer_to(turn: Turn, words: Words) -> Answer | None:
    """The runbook's answer to what is asked, in the person's language or any other."""
    question = turn.visit.question
    own = lang_of(turn, words.fact.actor.user)
    stage = question.stage if question else ""
    return turn.context.book.answer_to(words.fact.words, own, stage)


def only_asks_where(turn: Turn, words: Words) -> bool:
    """Whether the words ask where we are, and nothing else."""
    if not words.has("question", "unclear") or words.has("language", "correction"):
        return False
    found = answer_to(turn, words)
    small = all(r.kind in ("question", "unclear", "small_talk", "thanks") for r in words.readings)
    return small and found is not None and found.text == PROGRESS


def about_the_step(turn: Turn, words: Words) -> bool:
    """Whether it is short, or names a part that this kind of equipment has."""
    return turn.context.book.names_part(words.fact.words, lang_of(turn, words.fact.actor.user))


def facts(turn: Turn) -> dict[str, Any]:
    """What an answer may name: times, parts; with or without an open question."""
    question = turn.visit.question
    if question is not None:
        return particulars(turn, question)
    return {"start": turn.visit.start, **times(turn)}


def times(turn: Turn) -> dict[str, int]:
    book = turn.context.book
    stage = current(turn.visit, book).stage
    return {"visit": length(book, turn.visit.site), "checkpoint": minutes(stage.checkpoint)}


def maybe_question(turn: Turn, reading: Reading, words: Words) -> bool:
    """Words that were not understood may still ask for what the runbook knows."""
    return reading.kind == "unclear" and told(turn, words)
