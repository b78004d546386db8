"""The morning after: asked at opening time whether everything works, with a one-press reopen.

Who says no reopens the visit: somebody is called, and it counts as not done until that call is
closed; then the site is asked again when it opens next. Silence is no reason to call at night:
one reminder, then it is listed as unanswered.
"""

from typing import Literal

from bot.model.calls.life import clear, raise_call
from bot.model.calls.state import Call
from bot.model.fact import Pressed
from bot.model.message import NUDGE, Button
from bot.model.opening import next_opening
from bot.model.policy import minutes
from bot.model.runbook_morning import MorningSection
from bot.model.visit import event as e
from bot.model.visit import morning_events as m
from bot.model.visit.asking import reply
from bot.model.visit.back_events import OldWorks
from bot.model.visit.care_events import ParkedSaid
from bot.model.visit.course_events import WatchBegun
from bot.model.visit.finished import registered
from bot.model.visit.listening import Words
from bot.model.visit.morning import reopened
from bot.model.visit.quiet import driving, may_drive
from bot.model.visit.state import Visit
from bot.model.visit.steps import current
from bot.model.visit.turn import Turn

#: States in which the evening is behind a visit.
OVER = ("done", "watched", "backed_out")
#: Words that come later than this are no answer any more; the buttons still are.
_FRESH = minutes(24 * 60)
#: A mobile branch is asked before it opens, while it still stands, and is not reminded.
_BEFORE_DRIVING = minutes(30)
_BAD = frozenset(("no", "help", "stop", "no_signal", "power_cycled"))
_GOOD = frozenset(("yes", "done"))
_Meaning = Literal["", "yes", "no"]


def plan(turn: Turn) -> None:
    """The evening has just ended: when the site opens next, it is asked."""
    if turn.context.book.morning is None or not any(map(_ends, turn.events)):
        return
    visit = turn.visit
    if visit.state in OVER and visit.morning.due is None and not visit.morning.answer:
        set_for_next(turn)


def _ends(event: e.AnyEvent) -> bool:
    if isinstance(event, e.StateSet):
        return event.state in OVER
    return isinstance(event, e.VisitEnded | WatchBegun | OldWorks)


def set_for_next(turn: Turn) -> None:
    """The next opening from now on, by the site's own clock."""
    section = turn.context.book.morning
    if section is not None:
        at, known = _opening(turn, section)
        turn.emit(m.MorningSet(at, known))


def _opening(turn: Turn, section: MorningSection) -> tuple[int, bool]:
    site = turn.visit.site
    early = _BEFORE_DRIVING if may_drive(turn.visit, turn.context.book) else 0
    at, known = next_opening(site.opening_hours, site.tz, turn.at + early, section.otherwise)
    return at - early, known


def due(turn: Turn) -> None:
    """Ask, ask once more, or list it as unanswered."""
    section, morning = turn.context.book.morning, turn.visit.morning
    if section is None or turn.visit.state not in OVER:
        turn.emit(m.MorningOff())
    elif turn.visit.blocked and not morning.reminded:  # in danger nobody is asked anything
        turn.emit(m.MorningPutOff(_opening(turn, section)[0], "a person has it"))
    elif morning.asked_at is None:
        _ask(turn, section)
    elif not morning.reminded and not may_drive(turn.visit, turn.context.book):
        turn.emit(m.MorningReminded(turn.at + minutes(section.give_up)))
        turn.say("morning_again", buttons=_buttons(turn.visit), urgency=NUDGE, key="morning")
    else:
        turn.emit(m.MorningAnswered("unanswered"))


def _ask(turn: Turn, section: MorningSection) -> None:
    if driving(turn.visit):  # who drove in the evening does not drive since
        turn.emit(ParkedSaid("a new day"))
    visit = turn.visit
    if visit.state == "watched" and not registered(visit):
        told = not visit.morning.told_bad
        turn.emit(m.MorningPutOff(_opening(turn, section)[0], "not registered", told))
        if told:
            turn.say("morning_not_yet")
        return
    turn.emit(m.MorningAsked(turn.at + minutes(section.remind)))
    since = max((u.registered_at or 0 for u in visit.units), default=0)
    template = _question(visit)
    turn.say(template, buttons=_buttons(turn.visit), urgency=NUDGE, key="morning", since=since)


def _question(visit: Visit) -> str:
    if visit.state == "backed_out":
        return "morning_back"
    return "morning_released" if visit.release.at is not None else "morning"


def _buttons(visit: Visit) -> tuple[Button, ...]:
    name = visit.morning.id
    return (
        Button(f"m:{name}:all_works", "b_all_works", "primary"),
        Button(f"m:{name}:not_all", "b_not_all"),
    )


# --- answers -----------------------------------------------------------------------------


def pressed(turn: Turn, fact: Pressed, role: str) -> None:
    """``m:QUESTION:VERB``. Something that does not work may be said at any later time too."""
    _, name, verb = fact.action.split(":", 2)
    morning = turn.visit.morning
    if role not in ("contact", "deputy"):
        turn.answer = "not_yours"
    elif morning.asked_at is None or morning.id != name or turn.visit.state not in OVER:
        turn.answer = "stale"
    elif turn.visit.stopped_at is not None:
        turn.emit(e.Heard(fact.actor.user, role, "press", fact.action))
        reply(turn, "stopped_wait", "stopped_still")
    elif verb == "all_works" and morning.answer != "yes":
        turn.emit(e.Heard(fact.actor.user, role, "press", fact.action))
        _works(turn, fact.actor.user)
    elif verb == "not_all" and not reopened(turn.visit):
        turn.emit(e.Heard(fact.actor.user, role, "press", fact.action))
        _reopen(turn, fact.actor.user)
    else:
        turn.answer = "nothing"


def open_for(visit: Visit, at: int) -> bool:
    """Whether the site's words are first of all an answer to the question of the morning."""
    asked = visit.morning.asked_at
    if visit.state not in OVER or asked is None:
        return False
    fresh = visit.morning.answer in ("", "unanswered") and at < asked + _FRESH
    return fresh or reopened(visit)


def answers(turn: Turn, words: Words, *, odd: bool) -> bool:
    """Act on words that answer the morning's question. ``odd``: they tell of an odd light.

    False where they answer nothing, or where a person has what is wrong already.
    """
    meaning = _meaning(turn, words, odd=odd)
    user = words.fact.actor.user
    if meaning == "yes":
        _works(turn, user)
    elif meaning == "no" and not reopened(turn.visit):
        _reopen(turn, user)
    else:
        return False
    return True


def ask_again(turn: Turn) -> None:
    """What was written is no answer: the two buttons once more, unless that was said last."""
    if turn.visit.replied != "morning_again":
        turn.say("morning_again", buttons=_buttons(turn.visit), key="prompt")


def _meaning(turn: Turn, words: Words, *, odd: bool) -> _Meaning:
    book, said = turn.context.book, words.fact.words
    if book.morning is None:
        return ""
    fine, unless = book.morning.says_fine(said), book.morning.says_unless(said)
    if fine and not unless and not odd:
        return "yes"
    if odd or (fine and unless) or book.says_trouble(said) or words.has(*_BAD):
        return "no"
    sure = any(reading.kind in _GOOD and not reading.ask for reading in words.readings)
    return "yes" if sure and not unless else ""


def _works(turn: Turn, user: str) -> None:
    for call in turn.visit.open_calls:
        if call.id == turn.visit.morning.call:
            clear(turn, call, "answer")
    turn.emit(m.MorningAnswered("yes", user))
    turn.say("morning_good")


def _reopen(turn: Turn, user: str) -> None:
    """Not done until the call is closed; who has seen it done hears of it too."""
    step = current(turn.visit, turn.context.book)
    call = raise_call(turn, "morning", stage=step.stage.id)
    turn.emit(m.MorningAnswered("no", user, call.id))
    turn.tell_wave("reopened")
    turn.say("morning_bad")


def closed(turn: Turn, call: Call, reason: str) -> None:
    """The call of a reopened visit was closed: the site is asked again, or gets an evening."""
    if call.id != turn.visit.morning.call or turn.visit.state not in OVER:
        return
    if reason == "rebook":
        turn.emit(e.StateSet("rebook", "closed with another evening"))
        turn.say("rebook")
    elif turn.visit.morning.answer == "no":
        set_for_next(turn)
        turn.say("morning_mended")
