"""What people say; everything heard is kept on record.

Danger from anyone stops. Otherwise only the contact and the deputy are answered: what the team
writes in the thread is for the contact to read, and a stranger cannot answer for them.
"""

from dataclasses import replace

from msgspec.structs import replace as altered

from bot.model.calls.life import clear
from bot.model.calls.state import CLEARED_BY_ANSWER
from bot.model.fact import Deleted, Said
from bot.model.visit import (
    care,
    edges,
    handing_leave,
    handing_over,
    languages,
    more_time,
    outside,
    several,
    takeover,
)
from bot.model.visit import event as e
from bot.model.visit.answers import answered, callback_given
from bot.model.visit.asking import only_asks_where
from bot.model.visit.asks import rearm
from bot.model.visit.catching_up import catch_up, joins_late, told_first
from bot.model.visit.corrections import second_says
from bot.model.visit.doubt import about_danger
from bot.model.visit.listening import Words, listen, role_of
from bot.model.visit.outside import UNDER_WAY
from bot.model.visit.state import Question
from bot.model.visit.turn import Turn

#: What somebody says who only looks in: they are told where we are, and that is all.
_HELLO = frozenset(("small_talk", "thanks", "seen", "unclear"))


def said(turn: Turn, fact: Said) -> None:
    """Words: danger from anyone stops; otherwise only contact and deputy are answered."""
    role = role_of(turn, fact.actor)
    words = listen(turn, fact)
    first = words.first
    newcomer = role in ("contact", "deputy") and joins_late(turn, fact.actor.user)
    also = tuple(reading.kind for reading in words.readings[1:])
    came = edges.how(turn, words, _before(turn, fact))
    in_order = fact.place == "thread" and not fact.edited and not fact.about
    turn.emit(
        e.Heard(
            user=fact.actor.user,
            role=role,
            kind=first.kind,
            rule=first.rule,
            value=first.value,
            text=words.text,
            also=also,
            how=came,
            written_at=fact.claimed_at if in_order else None,
        )
    )
    left = about_danger(turn, fact, role, words.readings)
    if not left:
        return
    words = replace(words, readings=tuple(left))
    if handing_over.shows_code(turn, words, role):
        return
    if role in ("oncall", "admin"):
        takeover.of_team(turn, words)
        edges.relayed(turn, words)
    elif role == "stranger":
        edges.stranger(turn, words)
    else:
        sign_of_life(turn)
        if came == "crossed" and not turn.visit.blocked and second_says(turn, words):
            return
        kept = edges.kept(turn, words, came)
        if kept is not None:
            _from_site(turn, kept, newcomer=newcomer)
        edges.point_out(turn, fact)


def _before(turn: Turn, fact: Said) -> Words | None:
    """What an edited message said before, where that is known."""
    return listen(turn, altered(fact, words=fact.before, files=())) if fact.before else None


def deleted(turn: Turn, fact: Deleted) -> None:
    """A message of a person is gone from the chat."""
    edges.deleted(turn, fact, role_of(turn, fact.actor))


def _from_site(turn: Turn, words: Words, *, newcomer: bool) -> None:
    """Words of the contact or the deputy."""
    if care.hears(turn, words) or handing_leave.chose(turn, words):
        return
    whole, leaving = words, handing_leave.wishes(turn, words)
    if leaving and not turn.visit.blocked:
        words = handing_leave.rest_of(words)
    if words.readings:
        _from_site_here(turn, words, newcomer=newcomer)
    if leaving:
        handing_leave.leave(turn, whole)


def _from_site_here(turn: Turn, words: Words, *, newcomer: bool) -> None:
    """What they say of the visit itself."""
    if not outside.heard_out(turn, words):
        return
    if turn.visit.paused_until is not None and words.first.kind != "pause":
        more_time.end_pause(turn)
    if second_says(turn, words):
        return
    if newcomer and all(
        r.kind in _HELLO or (r.ask and r.kind in ("done", "yes")) for r in words.readings
    ):
        catch_up(turn)
        return
    if newcomer and only_asks_where(turn, words):
        catch_up(turn)
        return
    if newcomer:
        if words.has("language"):
            languages.speak(turn, words)
        told_first(turn)
    question = turn.visit.question
    if question is None or question.kind != "callback" or not _call_back(turn, question, words):
        several.take(turn, words)


def _call_back(turn: Turn, question: Question, words: Words) -> bool:
    """A number and a time for a call back, which no button can give."""
    if words.first.kind == "done":
        answered(turn, question, "done")  # mobile data works after all
    elif outside.gives_number(question.ask, words.fact.words):
        timed = words.has("later") or outside.gives_time(words.fact.words)
        callback_given(turn, question, words.text, timed=timed)
    else:
        return False
    return True


def sign_of_life(turn: Turn) -> None:
    """Somebody of the site was heard: what was called for their silence is over."""
    care.heard(turn)
    if turn.visit.state not in UNDER_WAY:
        return
    for call in turn.visit.open_calls:
        if call.cause in CLEARED_BY_ANSWER:
            clear(turn, call, "answer")
    rearm(turn)
