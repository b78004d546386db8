"""Several things in one message: all of them count, and one thing is asked in return.

The rule, in this order:

1. Danger comes before everything (``hearing``). A wish for another language and the taking back
   of an earlier answer (``corrections``) are done before the rest is looked at.
2. Who wants a person, wants to stop or lost power has said the worst: that decides the reply.
   Of the rest only what proves something is noted before it: that the step is done, and which
   light was seen, so that the call shows it.
3. Otherwise what answers the open question is taken, then what answers the question that
   follows from it: "plugged in, and it's red" is a *done* and then the light of the next step.
   A plain yes, no or done answers only the question that was open when it was written.
4. What was asked back is answered in the same breath if the runbook knows it. If a call was
   raised, the person who takes it reads the words.
5. A wish for more time counts for the question that is open in the end.
6. Thanks, small talk and an *ok* beside anything else are only recorded.

A question that the same words answered is not said (``Turn``), so that one question is asked.
"""

from dataclasses import replace

from msgspec.structs import replace as altered

from bot.model.policy import minutes
from bot.model.reading import Kind, Reading
from bot.model.visit import (
    ahead,
    asking,
    check_words,
    corrections,
    languages,
    more_time,
    ready_asks,
)
from bot.model.visit import event as e
from bot.model.visit.answering import answer_of
from bot.model.visit.answers import answered, ask_how_long, callback_refused, raise_and_say
from bot.model.visit.clock import meant
from bot.model.visit.lights import CHECKS, saw, what_to_do
from bot.model.visit.listening import Words
from bot.model.visit.power import power_cycled
from bot.model.visit.safety import site_stops
from bot.model.visit.state import Question
from bot.model.visit.steps import current
from bot.model.visit.turn import Turn

#: What decides the reply whatever stands beside it.
_URGENT: frozenset[Kind] = frozenset(("stop", "help", "power_cycled"))
#: What is said of the question that was open, never of the one that follows.
_OF_THIS_ONE: frozenset[Kind] = frozenset(("yes", "no", "done", "no_signal"))


def take(turn: Turn, words: Words) -> None:
    """Act on everything in a message of the site."""
    words = _prepared(turn, words)
    if not words.readings:
        return
    if _tried(turn, words):
        return
    place = len(turn.messages)
    if words.first.kind in _URGENT:
        _noted(turn, words)
        _act(turn, words.first, words)
        return
    if not _taken(turn, words):
        _act(turn, words.first, words)
        if words.first.kind == "question":
            return
    elif words.has("later"):
        _later(turn, next(r for r in words.readings if r.kind == "later"))
    if words.has("question") and not turn.visit.blocked:
        _told_before(turn, words, place)


def _prepared(turn: Turn, words: Words) -> Words:
    """Without what is settled first: another language, and an answer taken back."""
    if words.has("language"):
        words = replace(words, readings=languages.asked_for(turn, words))
    if words.has("correction"):
        words = replace(words, readings=corrections.correct(turn, words))
    return replace(words, readings=tuple(_as_seen(turn, reading) for reading in words.readings))


def _tried(turn: Turn, words: Words) -> bool:
    """Off and on again is what we asked for, of a thing of the site's: no unit lost its power."""
    question = turn.visit.question
    if question is None or question.kind != "check" or words.first.kind != "power_cycled":
        return False
    rest = replace(words, readings=words.readings[1:])
    if not rest.readings or not _taken(turn, rest):
        asking.prompt_with(turn, question, question.nudge, question.text)
    return True


def _as_seen(turn: Turn, reading: Reading) -> Reading:
    """ "Same as before" is the light that was seen last at this step; else it is asked for."""
    if reading.kind != "light" or reading.value != "same":
        return reading
    seen = turn.visit.lights[-1][1] if turn.visit.lights else ""
    return altered(reading, pattern=seen, ask="" if seen else "light_nudge")


def _noted(turn: Turn, words: Words) -> None:
    """Before a call: that the step is done, and what the light shows."""
    if words.first.kind == "power_cycled":
        return  # it starts from the beginning, and the light is asked for anew
    question = turn.visit.question
    done = any(r.kind == "done" and not r.ask for r in words.readings)
    if question is not None and done and question.kind == "confirm":
        answered(turn, question, "done")
    for reading in words.readings:
        if reading.kind == "light" and reading.pattern:
            turn.emit(e.LightSeen(reading.pattern))


def _taken(turn: Turn, words: Words) -> bool:
    """Whether anything answered the open question, or what follows from it."""
    start = turn.visit.question
    if start is None:
        return False
    took = False
    for reading in sorted(words.readings, key=lambda r: r.kind == "light"):  # the light last
        question = turn.visit.question
        if question is None or turn.visit.blocked:
            break
        if reading.kind in _OF_THIS_ONE and question.id != start.id:
            continue
        if reading.kind == "light":
            took = _light(turn, question, reading, followed=question.id != start.id) or took
        elif not reading.ask and (value := answer_of(reading, question)):
            if not _is_about(turn, question, words, value):
                continue
            answered(turn, question, value)
            took = True
    return took


def _is_about(turn: Turn, question: Question, words: Words, value: str) -> bool:
    """Under a check: whether the words are about the thing that was asked for."""
    if question.kind != "check":
        return True
    return check_words.is_about(turn.context.book, question.item, words.fact.words, value)


def _light(turn: Turn, question: Question, reading: Reading, *, followed: bool) -> bool:
    """A light answers a question about it, or shows that the step before is done."""
    if ahead.shows_power(turn, question, reading):
        answered(turn, question, "done")
        following = turn.visit.question
        if following is not None and reading.pattern and not reading.ask:
            saw(turn, following, reading.pattern)
        return True
    if reading.ask or not reading.pattern:
        return followed and ahead.noted(turn, question, reading)
    seen = what_to_do(turn, reading.pattern)
    asked = _asks_for_light(question)
    if not asked and (seen is None or seen.do != "call") and ahead.noted(turn, question, reading):
        return True
    if asked or not followed or (seen is not None and seen.do == "call"):
        saw(turn, question, reading.pattern)
        return True
    return False


def _asks_for_light(question: Question) -> bool:
    return question.kind == "light" or question.ask in CHECKS.values()


def _unplugs(turn: Turn, question: Question) -> bool:
    """Whether "unplugged" may well be what was asked for, so that nothing lost its power."""
    stage = current(turn.visit, turn.context.book).stage
    parts = turn.visit.back.walking or (stage.interrupts_service and not stage.powered)
    return question.kind == "confirm" and parts


def _healthy(reading: Reading) -> bool:
    """Whether nothing of a light's colours speaks of a fault; a doubt about one is asked about."""
    light = reading.light
    colours = {light.colour, *light.colours} if light is not None else set()
    return not colours & {"red", "yellow", "other"}


def _told_before(turn: Turn, words: Words, place: int) -> None:
    """The answer to what was asked back stands before what we ask next."""
    if asking.told(turn, words, beside=True):
        turn.messages.insert(place, turn.messages.pop())


def _act(turn: Turn, reading: Reading, words: Words) -> None:
    """One reading that answered nothing by itself."""
    question = turn.visit.question
    match reading.kind:
        case "stop":
            site_stops(turn)
        case "help":
            raise_and_say(turn, "help", "help_coming")
        case "power_cycled" if question is not None and _unplugs(turn, question):
            asking.ask_back(turn, question, "ask_done")
        case "power_cycled":
            power_cycled(turn)
        case "pause":
            more_time.pause(turn)
        case "later" if question is None and turn.visit.state == "agreed" and reading.ask:
            if not corrections.changes_mind(turn, words):
                asking.reply(turn, "another_day", "write_help", start=turn.visit.start)
        case "later" if question is None:
            _nothing_open(turn, words)
        case "later":
            _later(turn, reading)
        case "thanks" | "small_talk":
            asking.kind_line(turn, reading.kind)
        case _ if question is None:
            _nothing_open(turn, words)
        case "question":
            asking.question_back(turn, question, words)
        case "seen":
            asking.seen(turn, question)
        case "no" if question.kind == "confirm" and asking.told(turn, words):
            pass
        case "no" if question.kind in ("confirm", "version", "choice"):
            asking.refused(turn, question)
        case "no" if question.kind == "mobile":
            answered(turn, question, "no_signal")
            if turn.visit.question is not None:
                turn.reword(turn.visit.question.message, "callback_instead")
        case "no" if question.kind == "callback":
            callback_refused(turn)
        case "number" if question.kind != "callback":
            turn.emit(e.CallbackAgreed(words.text))
            asking.prompt_with(turn, question, "number_noted", question.nudge)
        case "serial" | "version" if asking.known_already(turn, reading):
            asking.prompt_with(turn, question, "known_already", question.nudge)
        case "light" if ahead.noted(turn, question, reading):
            pass
        case "light" if not _asks_for_light(question) and ahead.lit(reading) and _healthy(reading):
            asking.prompt_with(turn, question, "light_not_now", question.nudge)
        case "done" if question.kind in ("serial", "version", "choice"):
            asking.ask_back(turn, question, "still_need")
        case _:
            if corrections.repeats(turn, words):
                asking.prompt_with(turn, question, "known_already", question.nudge)
            elif not asking.maybe_question(turn, reading, words):
                unknown = reading.rule == "not_known" and reading.ask == "ask_done"
                template = "not_clear" if unknown else reading.ask
                asking.ask_back(turn, question, template, question.nudge)


def _nothing_open(turn: Turn, words: Words) -> None:
    """Agreed and not yet begun, or nothing to do for a moment."""
    agreed = turn.visit.state == "agreed"
    if agreed and corrections.changes_mind(turn, words):
        return
    if words.has("question", "unclear") and asking.told(turn, words):
        return
    asking.reply(
        turn, "agreed_wait" if agreed else "nothing_open", "write_help", start=turn.visit.start
    )


def _later(turn: Turn, reading: Reading) -> None:
    question = turn.visit.question
    if question is not None and ready_asks.is_ours(question):
        ready_asks.later(turn, question)
    elif reading.minutes is not None:
        more_time.later(turn, turn.at + minutes(reading.minutes))
    elif reading.value:
        more_time.later(turn, meant(turn.at, reading, turn.visit.site.tz))
    else:
        ask_how_long(turn)
