"""What people say and press, taken the worst first; everything heard is kept on record."""

import re
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

from bot.model.calls.life import clear
from bot.model.calls.press import press
from bot.model.calls.state import CLEARED_BY_ANSWER, find
from bot.model.fact import Actor, Pressed, Said
from bot.model.people import person_key, text_key
from bot.model.policy import minutes
from bot.model.reader import read
from bot.model.reading import Heard, Reading
from bot.model.visit import event as e
from bot.model.visit import more_time
from bot.model.visit.answers import (
    answered,
    ask_how_long,
    callback_given,
    raise_and_say,
    rebook,
)
from bot.model.visit.asks import TYPED, allowed, prompt, rearm
from bot.model.visit.doubt import about_danger
from bot.model.visit.doubt import pressed as pressed_about_danger
from bot.model.visit.lights import saw
from bot.model.visit.power import power_cycled
from bot.model.visit.safety import site_stops
from bot.model.visit.state import Question
from bot.model.visit.turn import Turn

#: How often we ask back about one question before a person is called.
_ASK_BACK = 2
#: Least digits of a telephone number.
_NUMBER = 5
#: A clock time beside a telephone number, however the reader takes the whole.
_CLOCK = re.compile(r"\b([01]?\d|2[0-3])[:.][0-5]\d\b|\b(1[0-2]|[1-9])\s?[ap]\.?m\b", re.IGNORECASE)
#: States in which somebody of the site has a conversation with us.
UNDER_WAY = ("invited", "agreed", "running")


def role_of(turn: Turn, actor: Actor) -> str:
    """``contact``, ``deputy``, ``oncall``, ``admin`` or ``stranger``, as to this visit."""
    visit = turn.visit
    if actor.user == visit.contact.user:
        return "contact"
    if visit.deputy is not None and actor.user == visit.deputy.user:
        return "deputy"
    if actor.oncall:
        return "oncall"
    return "admin" if actor.admin else "stranger"


def said(turn: Turn, fact: Said) -> None:
    """Words: danger from anyone stops; otherwise only contact and deputy are answered."""
    role = role_of(turn, fact.actor)
    readings = _read(turn, fact)
    first = readings[0]
    text = f"{person_key(fact.actor.user)}:{text_key(fact.id)}"
    turn.emit(e.Heard(fact.actor.user, role, first.kind, first.rule, first.value, text))
    left = about_danger(turn, fact, role, readings)
    if not left:
        return
    first = left[0]
    if role in ("oncall", "admin"):
        turn.answer = "nothing"  # what the team writes is not an answer of the contact
    elif role == "stranger":
        turn.say("not_you", key="prompt")
        turn.answer = "not_yours"
    elif fact.edited:
        turn.answer = "nothing"  # an edit counts for danger; an answer is given anew
    else:
        _from_site(turn, fact, first, text)


def _from_site(turn: Turn, fact: Said, reading: Reading, text: str) -> None:
    """Words of the contact or the deputy."""
    sign_of_life(turn)
    asks_for_person = reading.kind in ("help", "stop") and not turn.visit.blocked
    if asks_for_person and (turn.visit.waits_hold or turn.visit.state not in UNDER_WAY):
        raise_and_say(turn, "help", "help_coming")
        return
    if not _heard_out(turn, text):
        return
    if turn.visit.paused_until is not None and reading.kind != "pause":
        more_time.end_pause(turn)
    question = turn.visit.question
    if question is not None and question.kind == "callback":
        _call_back(turn, question, fact, reading, text)
    else:
        _act(turn, reading)


def _call_back(turn: Turn, question: Question, fact: Said, reading: Reading, text: str) -> None:
    """A number and a time for a call back, which no button can give."""
    if reading.kind == "done":
        answered(turn, question, "done")  # mobile data works after all
    elif _gives(question, fact.words):
        timed = reading.kind == "later" or _CLOCK.search(fact.words) is not None
        callback_given(turn, question, text, timed=timed)
    else:
        _act(turn, reading)


def _gives(question: Question, words: str) -> bool:
    """Whether the words hold what was asked for: a number to call, or a time for it."""
    digits = sum(ch.isdigit() for ch in words)
    return digits >= (1 if question.ask == "callback_time" else _NUMBER)


def _read(turn: Turn, fact: Said) -> list[Reading]:
    question = turn.visit.question
    heard = Heard(
        stage=question.stage if question else "",
        ask=question.kind if question else None,
        answers=question.answers if question else (),
    )
    lexicons = turn.context.lexicons
    words = "\n".join((fact.words, *fact.files))
    lexicon = turn.context.lexicon(turn.visit.contact.lang)
    return read(words, heard, turn.context.book, lexicon, dangers=tuple(lexicons.values()))


def sign_of_life(turn: Turn) -> None:
    """Somebody of the site was heard: what was called for their silence is over."""
    if turn.visit.state not in UNDER_WAY:
        return
    for call in turn.visit.open_calls:
        if call.cause in CLEARED_BY_ANSWER:
            clear(turn, call, "answer")
    rearm(turn)


def _heard_out(turn: Turn, text: str) -> bool:
    """Whether the conversation can go on; if not, the person gets the one fitting line."""
    visit = turn.visit
    if visit.stopped_at is not None:
        _pass_on(turn, text)
        turn.say("stopped_wait", key="prompt")
    elif any(c.blocks for c in visit.calls):
        _pass_on(turn, text)
        turn.say("person_has_it", key="prompt")
    elif visit.state in ("planned", "held", "rebook"):
        turn.say("not_now", key="prompt")
    elif visit.state == "done":
        turn.say("all_done", key="prompt")
    elif visit.waits_hold:
        turn.say("held_wait", key="prompt")
    else:
        return True
    return False


def _pass_on(turn: Turn, text: str) -> None:
    """Whoever has the call reads what the contact adds."""
    for call in turn.visit.open_calls:
        if call.called_at is not None:
            turn.post_call(call, "call_contact_says", words=f"@p:{text}")


def _act(turn: Turn, reading: Reading) -> None:
    question = turn.visit.question
    match reading.kind:
        case "stop":
            site_stops(turn)
        case "help":
            raise_and_say(turn, "help", "help_coming")
        case "power_cycled":
            power_cycled(turn)
        case "pause":
            more_time.pause(turn)
        case "later":
            _later(turn, reading)
        case "thanks" | "small_talk":
            turn.say("kind_line", key="prompt")
        case _ if question is None:
            agreed = turn.visit.state == "agreed"
            turn.say("agreed_wait" if agreed else "nothing_open", key="prompt")
        case "question":
            prompt(turn, question, question.nudge)
        case "light" if reading.pattern and not reading.ask:
            saw(turn, question, reading.pattern)
        case _:
            value = answer_of(reading, question)
            if value and not reading.ask:
                answered(turn, question, value)
            else:
                ask_back(turn, question, reading.ask)


def answer_of(reading: Reading, question: Question) -> str:
    """The answer a reading gives to the open question; empty when it gives none."""
    kind, ask = reading.kind, question.kind
    if question.answers:
        return reading.value if kind == "choice" and reading.value in question.answers else ""
    if ask in ("serial", "version") and kind == ask:
        return reading.value
    if question.ask in TYPED:
        return ""
    return _PLAIN.get((ask, kind), "")


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
}


def ask_back(turn: Turn, question: Question, template: str) -> None:
    """One short question with buttons, never twice the same; then a person is called."""
    if question.asked_back >= _ASK_BACK:
        raise_and_say(turn, "not_understood", "help_coming")
        return
    turn.emit(e.AskedBack(question.id))
    if question.asked_back:
        template = "ask_person"
    prompt(turn, question, template or "ask_again")


def _later(turn: Turn, reading: Reading) -> None:
    if reading.minutes is not None:
        more_time.later(turn, turn.at + minutes(reading.minutes))
    elif reading.value:
        more_time.later(turn, _meant(turn, reading))
    else:
        ask_how_long(turn)


def _meant(turn: Turn, reading: Reading) -> int:
    """The clock time; where it was not said which half of the day, the next of the two."""
    tz = turn.visit.site.tz
    at = clock_time(turn.at, reading.value, tz)
    if reading.rule != "clock12":
        return at
    hour, _, minute = reading.value.partition(":")
    return min(at, clock_time(turn.at, f"{(int(hour) + 12) % 24:02}:{minute}", tz))


def clock_time(at: int, clock: str, tz: str) -> int:
    """The next instant from ``at`` on at which the site's clock shows ``HH:MM``.

    Where the clocks go back an hour comes twice: said between the two, the second is meant.
    """
    place = ZoneInfo(tz)
    wanted = time.fromisoformat(clock.zfill(5))
    today = datetime.fromtimestamp(at / 1000, UTC).astimezone(place).date()
    for fold in (0, 1):
        found = datetime.combine(today, wanted.replace(fold=fold), place).timestamp() * 1000
        if found >= at:
            return int(found)
    tomorrow = datetime.combine(today + timedelta(days=1), wanted, place)
    return int(tomorrow.timestamp() * 1000)


# --- buttons ---------------------------------------------------------------------------


def pressed(turn: Turn, fact: Pressed) -> None:
    """A button: ``a:QUESTION:VALUE``, ``v:QUESTION:WISH`` or ``e:CALL:VERB``.

    A press that is too late is no event: one that failed in the chat after it was decided is
    pressed again, and that must leave no trace.
    """
    kind, _, rest = fact.action.partition(":")
    name, _, value = rest.partition(":")
    role = role_of(turn, fact.actor)
    if pressed_about_danger(turn, fact, role):
        return
    if _too_late(turn, kind, name) and not (role in ("contact", "deputy") and _missed(turn)):
        turn.answer = "not_yours" if role == "stranger" else "stale"
        return
    turn.emit(e.Heard(fact.actor.user, role, "press", fact.action))
    if kind == "e":
        turn.answer = press(turn, fact.actor, name, value)
        return
    if role == "stranger":
        turn.answer = "not_yours"
        return
    if role in ("contact", "deputy"):
        sign_of_life(turn)
    question = turn.visit.question
    if question is None or question.id != name:
        turn.answer = "stale"
    elif kind == "v":
        _wish(turn, question, value)
    elif kind == "a" and value in allowed(question, turn.context.book):
        if turn.visit.paused_until is not None:
            more_time.end_pause(turn)
        answered(turn, question, value)
    else:
        turn.answer = "stale"


def _too_late(turn: Turn, kind: str, name: str) -> bool:
    """Whether a button belongs to a call that is closed, or to no question that is open."""
    if kind == "e":
        call = find(turn.calls, name)
        return call is None or not call.open
    return turn.visit.question is None or turn.visit.question.id != name


def _missed(turn: Turn) -> bool:
    """Whether somebody of the site was silent for too long, so that any press is news."""
    question = turn.visit.question
    silent = any(c.cause in CLEARED_BY_ANSWER and not c.cleared_at for c in turn.visit.open_calls)
    return turn.visit.state in UNDER_WAY and (silent or bool(question and question.late))


def _wish(turn: Turn, question: Question, wish: str) -> None:
    paused = turn.visit.paused_until is not None
    if wish == "unpause":
        if paused:
            more_time.unpause(turn)
        else:
            turn.answer = "stale"
        return
    if paused:
        more_time.end_pause(turn)
    match wish:
        case "help":
            raise_and_say(turn, "help", "help_coming")
        case "latest":
            more_time.latest(turn, question)
        case "other_evening":
            rebook(turn, "other_evening")
        case "more10" | "more20":
            more_time.later(turn, turn.at + minutes(int(wish.removeprefix("more"))))
        case _:
            turn.answer = "stale"
