"""A person of the team has the conversation: the bot keeps still until it is handed back.

They have it by taking a call that blocks, or by the order *take over*. What they write is not the
contact's answer. Time goes on, danger counts, a registration is noted and told to the team. Who
forgets to hand back is reminded, and then on-call is called.
"""

from bot.model.calls.life import clear, raise_call
from bot.model.calls.press import press
from bot.model.fact import Actor
from bot.model.policy import minutes
from bot.model.visit import event as e
from bot.model.visit.asking import answer_to
from bot.model.visit.catching_up import PROGRESS, catch_up_staff
from bot.model.visit.listening import Words, read_under
from bot.model.visit.steps import current
from bot.model.visit.turn import Turn
from bot.model.visit.walk import begin, go_on

#: What a call says was seen that was made because nobody handed back.
FORGOTTEN = "@x:seen_taken_over"
_STATES = ("invited", "agreed", "running")
#: How long after the team has asked something a plain yes, no or thanks is for them.
_ENQUIRY = minutes(5)
_SHORT_ANSWER = frozenset(("yes", "no", "seen", "thanks"))


def of_team(turn: Turn, words: Words) -> None:
    """Words of on-call or an admin: for the contact to read. Where we are is told to them alone."""
    turn.answer = "nothing"
    found = answer_to(turn, words) if words.has("question", "unclear") else None
    if found is not None and found.text == PROGRESS:
        catch_up_staff(turn, words.fact.actor.user)
    elif _asks_site(words):
        turn.emit(e.TeamAsked(words.fact.actor.user))


def _asks_site(words: Words) -> bool:
    fact = words.fact
    if fact.place != "thread" or fact.edited or fact.about:
        return False
    return words.has("question") or "?" in fact.words


def to_team(turn: Turn, words: Words) -> bool:
    """Whether this is the short answer to what a person of the team has just asked here."""
    at = turn.visit.team_asked_at
    if at is None or turn.at - at > _ENQUIRY or turn.visit.blocked:
        return False
    if words.fact.place != "thread" or words.fact.media or words.fact.files:
        return False
    if any(r.kind not in (*_SHORT_ANSWER, "choice") for r in words.readings):
        return False
    # a yes may be one of our own question's answers, and still be a plain yes
    plain = read_under(turn, words.fact, None)
    return all(r.kind in _SHORT_ANSWER for r in plain)


def take_over(turn: Turn, actor: Actor) -> None:
    """The order *take over*. Where a call blocks, that call is taken."""
    visit = turn.visit
    if visit.stopped_at is not None or visit.helper == actor.user:
        turn.answer = "nothing"
        return
    waiting = [c for c in visit.calls if c.blocks]
    if waiting:
        for call in waiting:
            turn.answer = press(turn, actor, call.id, "take")
        return
    if visit.state not in _STATES:
        turn.answer = "nothing"
        return
    turn.emit(e.TakenOver(actor.user, _due(turn)))
    turn.say("person_coming", who=name_of(turn, actor.user), key="person")


def hand_back(turn: Turn, actor: Actor) -> None:
    """We go on at the right step, with one line and what is asked."""
    if not turn.visit.helper:
        turn.answer = "nothing"
        return
    turn.emit(e.HandedBack(actor.user))
    for call in turn.visit.open_calls:
        if call.seen == FORGOTTEN:
            clear(turn, call, "handed_back")
    visit = turn.visit
    if visit.blocked or visit.waits_hold:
        return
    if visit.state == "agreed" and turn.at >= visit.start:
        begin(turn)
    elif visit.state in ("invited", "running"):
        turn.say("handed_back")
        go_on(turn)


def overdue(turn: Turn) -> None:
    """Taken over long ago: a reminder, then a call."""
    visit = turn.visit
    step = current(visit, turn.context.book)
    turn.emit(e.TakenOverLong(_due(turn)))
    if visit.helper_reminded:
        raise_call(turn, "help", stage=step.stage.id, unit=step.unit, seen=FORGOTTEN)
    else:
        turn.tell_staff(visit.helper, "helper_reminder", link=turn.link)


def registered_meanwhile(turn: Turn, serial: str) -> None:
    """A unit registered while a person has the conversation: they are told."""
    if turn.visit.helper:
        turn.tell_staff(turn.visit.helper, "helper_registered", serial=serial)


def name_of(turn: Turn, user: str) -> str:
    return turn.context.roster.name(user)


def _due(turn: Turn) -> int:
    """When who took over is reminded: not before the evening has begun."""
    due = turn.at + minutes(turn.context.book.limits.taken_without_progress)
    return due if turn.visit.state == "running" else max(due, turn.visit.start)
