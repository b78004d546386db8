"""Answers taken back, and two people who answer at once.

The last answer can be taken back: things stand as before it, and its question is put again, or
the new answer is taken. What a unit proved by registering is never undone. When the other person
of the site says the same within a minute nothing follows; when they say otherwise, the question
is put once more, and nobody is named as wrong; after that the first answer counts.
"""

from bot.model.calls.life import clear
from bot.model.policy import MINUTE
from bot.model.reading import Reading
from bot.model.visit import event as e
from bot.model.visit.answering import answer_of, in_one_form
from bot.model.visit.answers import answered
from bot.model.visit.asking import TO_DO, reply
from bot.model.visit.listening import Words, lang_of, read_under
from bot.model.visit.state import Given, Question
from bot.model.visit.turn import Turn
from bot.model.visit.walk import go_on

#: So close after another's answer, the same words belong to the same question.
_AT_ONCE = MINUTE
#: An answer to a question that is past is told from other talk by being short.
_SHORT = 4
#: So close after a person's own answer, the same plain words are that answer sent twice.
_TWICE = 10_000
_PLAIN = frozenset(("done", "yes", "seen", "thanks"))
_BESIDE = frozenset(("correction", "seen", "thanks", "small_talk"))


def correct(turn: Turn, words: Words) -> tuple[Reading, ...]:
    """Take the last answer back if that is what is meant; gives what is still to be acted on."""
    rest = tuple(r for r in words.readings if r.kind not in _BESIDE)
    given, question = turn.visit.given, turn.visit.question
    if given is None:
        return rest or words.readings
    new = _new(turn, words, given)
    if not new and question is not None and any(_answers(r, question) for r in rest):
        return rest  # it is about what is open
    if not new and any(r.kind in ("question", "help", "stop", "power_cycled") for r in rest):
        return rest
    if not may_take_back(turn, given):
        reply(turn, "stays_so", "write_help")
        return ()
    if question is not None and question.kind == given.question.kind == "light" and new:
        return rest  # the newest light counts, whatever was seen before
    turn.emit(e.TakenBack(given.question.id, given.answer))
    if not new:
        turn.say("taken_back")
    go_on(turn)
    return tuple(new)


def changes_mind(turn: Turn, words: Words) -> bool:
    """Whether a *no* to the invitation is taken back: then it is asked again, or agreed."""
    given = turn.visit.given
    if given is None:
        return False
    new = _new(turn, words, given)
    if not new and not words.has("correction"):
        return False
    turn.emit(e.TakenBack(given.question.id, given.answer))
    for call in turn.visit.open_calls:
        if call.cause == "not_started":
            clear(turn, call, "answer")
    go_on(turn)
    question = turn.visit.question
    if new and question is not None:
        answered(turn, question, answer_of(new[0], question))
    return True


def may_take_back(turn: Turn, given: Given) -> bool:
    """Whether nothing was proven since: no unit registered, nobody is called for it."""
    visit = turn.visit
    before = {u.serial: u.registered_at for u in given.units}
    same = all(before.get(u.serial) == u.registered_at for u in visit.units)
    return same and not visit.blocked and visit.state in (given.state, "agreed", "running")


def _answers(reading: Reading, question: Question) -> bool:
    if question.kind == "light":
        return reading.kind == "light"
    return not reading.ask and bool(answer_of(reading, question))


def _new(turn: Turn, words: Words, given: Given) -> list[Reading]:
    """What the words would have answered to the question that was answered before."""
    return [r for r in read_under(turn, words.fact, given.question) if _other(r, given)]


def _other(reading: Reading, given: Given) -> bool:
    """Whether it gives another answer to the question that was answered."""
    question = given.question
    if question.kind == "light":
        return bool(reading.pattern) and not reading.ask and reading.pattern != given.answer
    value = "" if reading.ask else answer_of(reading, question)
    if not value:
        return False
    return in_one_form(value, question) != in_one_form(given.answer, question)


def repeats(turn: Turn, words: Words) -> bool:
    """Whether the words answer the question before this one as it was answered."""
    given = turn.visit.given
    if given is None or given.question.kind not in ("serial", "version", "choice"):
        return False
    if len(words.fact.words.split()) > _SHORT:
        return False
    return any(_same(r, given) for r in read_under(turn, words.fact, given.question))


def says_again(turn: Turn, words: Words) -> bool:
    """Whether the plain *done* or *yes* is the one this person has just given, and the next
    question asks for something to be done, which takes longer than that."""
    given, question = turn.visit.given, turn.visit.question
    if given is None or question is None or question.kind not in TO_DO:
        return False
    if given.pressed or given.by != words.fact.actor.user:
        return False
    if turn.at - given.at > _TWICE:
        return False
    told = words.fact.words
    if len(told.split()) > _SHORT or turn.context.book.mentions_part(told, lang_of(turn, given.by)):
        return False  # what has been done is said, so it may be the next thing
    if any(r.kind not in _PLAIN for r in words.readings):
        return False
    return any(
        _same(r, given) and (r.kind == "yes" or given.answer == "done")
        for r in read_under(turn, words.fact, given.question)
    )


# --- two people ----------------------------------------------------------------------------


def second_says(turn: Turn, words: Words) -> bool:
    """Whether these words belong to a question the other has just answered; then it is settled."""
    given = turn.visit.given
    if given is None or not _just_now(turn, given, words.fact.actor.user):
        return False
    readings = read_under(turn, words.fact, given.question)
    if any(_same(r, given) for r in readings):
        turn.answer = "nothing"
        return True
    differs = any(_other(r, given) or _not_done(r, given) for r in readings)
    return differs and _doubt(turn, given)


def second_presses(turn: Turn, user: str, question: str, value: str) -> bool:
    """Whether the button belongs to a question the other has just answered otherwise."""
    given = turn.visit.given
    if given is None or given.question.id != question or not _just_now(turn, given, user):
        return False
    return in_one_form(value, given.question) != in_one_form(given.answer, given.question)


def doubt(turn: Turn) -> None:
    """Put the question again that was answered in two ways."""
    if turn.visit.given is not None:
        _doubt(turn, turn.visit.given)


def _just_now(turn: Turn, given: Given, user: str) -> bool:
    return given.by != user and turn.at - given.at <= _AT_ONCE


def _same(reading: Reading, given: Given) -> bool:
    question = given.question
    if question.kind == "light":
        return reading.pattern == given.answer
    value = "" if reading.ask else answer_of(reading, question)
    return bool(value) and in_one_form(value, question) == in_one_form(given.answer, question)


def _not_done(reading: Reading, given: Given) -> bool:
    """A *no* or *not yet* where the other has said that it is done."""
    done = given.question.kind in ("confirm", "mobile") and given.answer == "done"
    return done and (reading.kind == "no" or reading.rule == "not_yet")


def _doubt(turn: Turn, given: Given) -> bool:
    """Ask once more, naming nobody as wrong; a second time the first answer counts."""
    if turn.visit.doubted == given.question.place or not may_take_back(turn, given):
        return True
    turn.emit(e.TakenBack(given.question.id, given.answer, doubted=True))
    go_on(turn)
    question = turn.visit.question
    if question is not None:
        turn.reword(question.message, "two_answers")
    return True
