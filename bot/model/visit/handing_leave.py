"""A contact says that they have to go, or that somebody else goes on in their place."""

from dataclasses import replace

from bot.model.policy import MINUTE, minutes
from bot.model.read_time import when_said
from bot.model.reading import Kind, Reading
from bot.model.visit.clock import meant
from bot.model.visit.handing_events import LeavingOver, LeavingSaid
from bot.model.visit.handing_over import call_person, choose, offer, pass_on
from bot.model.visit.listening import Words, lang_of
from bot.model.visit.outside import UNDER_WAY
from bot.model.visit.release_now import RULE, may_go, release
from bot.model.visit.turn import Turn

#: Who goes so soon goes now.
_STAYS = 5 * MINUTE
#: What leaving is read as by who does not know better: it is said here already.
_TAKEN: frozenset[Kind] = frozenset(
    ("later", "question", "unclear", "seen", "thanks", "small_talk", "stop", "no")
)
#: What is more urgent than who goes home when, or means something else.
_FIRST: frozenset[Kind] = frozenset(("help", "pause", "power_cycled"))


def wishes(turn: Turn, words: Words) -> bool:
    """Whether the words speak of leaving, at a time at which it matters."""
    leaving, fact = turn.context.book.leaving, words.fact
    if leaving is None or turn.visit.state not in UNDER_WAY or turn.visit.stopped_at is not None:
        return False
    if fact.edited or fact.about or words.has(*_FIRST):
        return False
    if turn.visit.state != "running":  # before the evening nobody has to stay
        return leaving.wish(fact.words) == "hand_over"
    return leaving.wish(fact.words) != ""


def chose(turn: Turn, words: Words) -> bool:
    """Whether the words answer what was just asked: whether somebody takes over."""
    leaving, fact, visit = turn.context.book.leaving, words.fact, turn.visit
    said_at, question = visit.handing.said_at, visit.question
    if leaving is None or visit.handing.due is None or said_at is None or visit.blocked:
        return False
    if fact.edited or fact.about or visit.handing.offer is not None or may_go(turn):
        return False
    later = [visit.given.at if visit.given else 0]
    if question is not None:
        later += [question.made_at, question.nudge_at or 0 if question.nudged else 0]
    choice = leaving.choice(fact.words)
    if choice is None or max(later) > said_at:  # they may well mean what was asked since
        return False
    choose(turn, fact.actor.user, choice)
    return True


def rest_of(words: Words) -> Words:
    """What the words say beside it."""
    return replace(words, readings=tuple(r for r in words.readings if not _of_leaving(r)))


def _of_leaving(reading: Reading) -> bool:
    return reading.kind in _TAKEN or bool(reading.ask)


def leave(turn: Turn, words: Words) -> None:
    """A code for who takes over; or they may go; or they are asked who could."""
    leaving = turn.context.book.leaving
    if leaving is None or turn.visit.state not in UNDER_WAY:
        return
    at = _when(turn, words)
    if leaving.wish(words.fact.words) == "hand_over":
        pass_on(turn, words.fact.actor.user, at)
    elif turn.visit.with_person:
        return
    elif at is not None and at > turn.at + _STAYS:
        noted(turn, at)
    elif may_go(turn):
        release(turn, RULE)
    else:
        offer(turn, None)


def noted(turn: Turn, at: int) -> None:
    """They go later: until then we go on, and somebody else is looked for if hands are needed."""
    if not may_go(turn):
        offer(turn, at)
        return
    turn.emit(LeavingSaid(at, timed=True))
    turn.say("going_noted", key="prompt", until=at)


def overdue(turn: Turn) -> None:
    """They go now, and nobody has taken over: they are let go where that needs nobody.

    Who went on answering, and had not said when they go, is still there.
    """
    if may_go(turn):
        release(turn, RULE)
        return
    handing, given = turn.visit.handing, turn.visit.given
    stayed = handing.offer is None and not handing.timed and given is not None
    if stayed and given is not None and given.at > (handing.said_at or 0):
        turn.emit(LeavingOver("went on answering"))
        return
    turn.emit(LeavingOver("nobody in time", code=True))
    call_person(turn)
    if turn.visit.stopped_at is None and turn.visit.danger_ask is None:
        turn.say("handing_overdue")


def _when(turn: Turn, words: Words) -> int | None:
    """The instant at which they go, where they say one."""
    lexicon = turn.context.lexicon(lang_of(turn, words.fact.actor.user))
    found = when_said(words.fact.words, lexicon)
    if found is None or found.ask:
        return None
    if found.minutes is not None:
        return turn.at + minutes(found.minutes)
    return meant(turn.at, found, turn.visit.site.tz)
