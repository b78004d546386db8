"""Talk about danger that is no plain word of it: asked, denied, hedged, and one yes or no.

From a site doubt stops first, and the yes or no that follows is for the people who were called:
it dismisses nothing. Only a denial that nobody asked for ("no smoke here") stops nothing: it is
asked about once, and until that is answered the visit stands still.
"""

from collections.abc import Sequence

from bot.model.calls.life import clear
from bot.model.calls.state import CLEARED_BY_ANSWER
from bot.model.danger import find
from bot.model.fact import Actor, Pressed, Said
from bot.model.message import ANSWER, ESCALATION, Button
from bot.model.policy import minutes
from bot.model.reader import read
from bot.model.reading import Heard, Kind, Reading
from bot.model.visit import event as e
from bot.model.visit.answers import raise_and_say
from bot.model.visit.asks import put_again
from bot.model.visit.listening import lang_of
from bot.model.visit.safety import danger
from bot.model.visit.steps import current, is_over
from bot.model.visit.turn import Turn
from bot.model.visit.walk import close_question, go_on

YES, NO = "danger_yes", "danger_no"
#: Buttons of calls: what the team decides is no answer of the site.
_OF_TEAM = ("e", "b", "g")
ANSWERS = (YES, NO)
#: In place of a question's id, in the buttons that are offered after a stop.
STOPPED = "stopped"
#: How long after the team has asked about danger a yes or no is the answer to that.
ENQUIRY = minutes(10)
#: How often we ask the same yes or no again when something else is answered.
_AGAIN = 1
#: What a denial leaves to be heard of the rest: a "no" was part of the denial.
_NO_ANSWER: frozenset[Kind] = frozenset(("no", "yes", "seen", "unclear", "danger"))


def about_danger(
    turn: Turn, fact: Said, role: str, readings: Sequence[Reading]
) -> Sequence[Reading]:
    """Deal with what is said of danger; gives what else there is to deal with, if anything."""
    first = readings[0]
    team = fact.actor.oncall or fact.actor.admin
    if first.kind != "danger":
        return _answer(turn, fact, readings) if role in ("contact", "deputy") else readings
    if first.rule == "denied":
        return _denied(turn, readings, role)
    if first.rule == "asked" and team:
        turn.emit(e.DangerEnquired(fact.actor.user))
        turn.answer = "nothing"
        return ()
    found = find("\n".join((fact.words, *fact.files)), tuple(turn.context.lexicons.values()))
    doubt = found is not None and found.doubt
    _stop(turn, first.rule, languages=found.languages if found else (), doubt=doubt)
    return ()


def _stop(turn: Turn, rule: str, *, languages: Sequence[str] = (), doubt: bool = False) -> None:
    """Stop first; where it was not sure, one yes or no for those who are called."""
    already = turn.visit.stopped_at is not None
    danger(turn, rule, languages)
    if doubt and not already:
        turn.say("danger_doubt", buttons=_buttons("v", STOPPED), urgency=ESCALATION)


def _denied(turn: Turn, readings: Sequence[Reading], role: str) -> Sequence[Reading]:
    """There is no danger, they say: asked about once, unless somebody had asked.

    A stranger's denial may be asked about, but it answers nothing for the site.
    """
    visit = turn.visit
    rest = [reading for reading in readings if reading.kind not in _NO_ANSWER]
    under = visit.question.id if visit.question else ""
    asked = visit.danger_ask is not None or _enquired(turn)
    if role in ("oncall", "admin") or (role == "stranger" and asked):
        turn.answer = "nothing"
        return ()
    if visit.danger_ask is not None and visit.stopped_at is None:
        _cleared(turn)
        return ()
    if visit.blocked:  # whoever has it reads it; it dismisses nothing
        return rest or [Reading(kind="unclear", confidence=0.0, rule="denied")]
    if _enquired(turn):
        turn.emit(e.DangerDenied(under))
    elif visit.denied_under != under:
        turn.emit(e.DangerAsked(turn.next_id("d")))
        _ask(turn)
        return ()
    turn.answer = "nothing"
    return rest


def _enquired(turn: Turn) -> bool:
    """Whether the team has asked about danger a moment ago."""
    at = turn.visit.enquired_at
    return at is not None and turn.at - at <= ENQUIRY


def _answer(turn: Turn, fact: Said, readings: Sequence[Reading]) -> Sequence[Reading]:
    """A yes or no to our question about danger, or to that of the team."""
    asked = turn.visit.danger_ask is not None
    if turn.visit.stopped_at is not None or not (asked or _enquired(turn)):
        return readings
    said = _yes_or_no(turn, fact)
    if said == YES:
        _stop(turn, "confirmed")
        return ()
    if said == NO and asked:
        _cleared(turn)
        return ()
    if said == NO:
        turn.emit(e.DangerDenied(turn.visit.question.id if turn.visit.question else ""))
        turn.answer = "nothing"
        return [reading for reading in readings if reading.kind not in _NO_ANSWER]
    if not asked or readings[0].kind in ("help", "stop"):
        return readings
    _ask_again(turn)
    return ()


def _yes_or_no(turn: Turn, fact: Said) -> str:
    """``YES`` when it is heard at all or hedged, ``NO`` when surely meant, else nothing."""
    heard = Heard(stage="", ask="choice", answers=ANSWERS)
    own = turn.context.lexicon(lang_of(turn, fact.actor.user))
    shown = turn.context.lexicon(turn.visit.lang)  # the language we asked in
    readings = [
        reading
        for lexicon in ((own,) if own is shown else (own, shown))
        for reading in read(fact.words, heard, turn.context.book, lexicon, dangers=())
    ]
    kinds = {reading.kind for reading in readings}
    values = {reading.value for reading in readings if reading.kind == "choice"}
    doubt = any(reading.rule in ("several_choices", "maybe_choice") for reading in readings)
    if YES in values or "yes" in kinds or doubt:
        return YES
    return NO if NO in values or "no" in kinds else ""


def _ask(turn: Turn) -> None:
    ask = turn.visit.danger_ask
    if ask is not None:
        turn.say("ask_danger", buttons=_buttons("a", ask.id), urgency=ANSWER, key="prompt")


def _buttons(kind: str, name: str) -> tuple[Button, ...]:
    return tuple(Button(f"{kind}:{name}:{answer}", f"b_{answer}") for answer in ANSWERS)


def _ask_again(turn: Turn) -> None:
    """Something else was answered: once more, and then a person is called."""
    ask = turn.visit.danger_ask
    if ask is None:
        return
    if ask.again >= _AGAIN:
        raise_and_say(turn, "help", "help_coming", seen="@x:danger_not_answered")
        return
    turn.emit(e.DangerAskedAgain())
    _ask(turn)


def unanswered(turn: Turn) -> None:
    """Asked about danger and not answered within the window: a person is called."""
    raise_and_say(turn, "help", "help_coming", seen="@x:danger_not_answered")


def _cleared(turn: Turn) -> None:
    """There is none, they say when asked: go on where the visit stood."""
    for call in turn.visit.open_calls:
        if call.cause in CLEARED_BY_ANSWER:
            clear(turn, call, "answer")
    turn.emit(e.DangerDenied(""))
    visit = turn.visit
    if visit.blocked:
        return
    if visit.question is not None and is_over(visit, current(visit, turn.context.book)):
        close_question(turn, "over", done=False)  # it registered meanwhile
        go_on(turn)
    elif visit.question is not None:
        turn.emit(e.DangerDenied(put_again(turn, visit.question).id))
    elif visit.waits_hold:
        turn.say("held_wait", key="prompt")
    elif visit.state == "running":
        go_on(turn)
    else:
        turn.say("kind_line", key="prompt")


def pressed(turn: Turn, fact: Pressed, role: str) -> bool:
    """Whether the button is about danger, and so is dealt with here."""
    kind, _, rest = fact.action.partition(":")
    name, _, value = rest.partition(":")
    ask = turn.visit.danger_ask
    doubted = name == STOPPED and value in ANSWERS
    if not doubted and (kind in _OF_TEAM or turn.visit.stopped_at is not None):
        return False
    confirms = not doubted and kind == "a" and value == YES  # from anyone, however late
    if not doubted and ask is None and not confirms:
        return False
    if not _of_site(role, fact.actor) and not confirms:
        turn.answer = "not_yours"
    elif doubted and turn.visit.stopped_at is None:
        turn.answer = "stale"
    elif doubted:
        turn.emit(e.Heard(fact.actor.user, role, "press", fact.action))
        _tell(turn, value)
    elif confirms:
        turn.emit(e.Heard(fact.actor.user, role, "press", fact.action))
        _stop(turn, "confirmed")
    elif ask is not None and name == ask.id and value == NO:
        turn.emit(e.Heard(fact.actor.user, role, "press", fact.action))
        _cleared(turn)
    elif value == "help":
        return False
    else:
        _ask(turn)
    return True


def _of_site(role: str, actor: Actor) -> bool:
    return role in ("contact", "deputy") or actor.oncall or actor.admin


def _tell(turn: Turn, value: str) -> None:
    """Pressed after a stop: whoever has the call reads it, and nothing is dismissed by it."""
    for call in turn.visit.open_calls:
        if call.cause == "danger":
            turn.post_call(call, "call_contact_says", words=f"@x:b_{value}")
    turn.say("stopped_wait", key="prompt")
