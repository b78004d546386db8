"""Words that come in another way than as an answer in the thread, one at a time and in order.

Edits, words that were overtaken or crossed with our question, files without words, reactions,
strangers, words outside the thread, deletions, and what the team writes into a mirror.
"""

from dataclasses import replace
from datetime import UTC, datetime
from typing import Literal
from zoneinfo import ZoneInfo

from bot.model.fact import Deleted, Joined, Media, Said
from bot.model.people import person_key, text_key
from bot.model.reading import Kind
from bot.model.visit import event as e
from bot.model.visit.asking import prompt_with
from bot.model.visit.asks import prompt
from bot.model.visit.catching_up import catch_up_aside, joins_late
from bot.model.visit.corrections import says_again
from bot.model.visit.listening import Words
from bot.model.visit.state import Question
from bot.model.visit.takeover import name_of, to_team
from bot.model.visit.turn import Turn

#: How words came: as usual (empty), overtaken by newer ones of the same person, typed before the
#: open question could be seen, as an edit, as an edit that changes nothing, as a reaction, as a
#: file without any that count, as the answer to what the team has just asked, or as the same
#: answer once more (``repeated``; ``repeating`` from the second time on).
How = Literal[
    "",
    "overtaken",
    "crossed",
    "edit",
    "same",
    "reaction",
    "unread",
    "to_team",
    "repeated",
    "repeating",
]
#: What counts however it comes.
URGENT: frozenset[Kind] = frozenset(("danger", "stop", "help", "power_cycled"))
#: Words that mean something only beside the question they were written under.
_BARE: frozenset[Kind] = frozenset(("yes", "no", "done", "seen", "choice", "unclear"))
#: A greeting of so many words at most is not passed on to the team.
_BRIEF = 3
_SMALL: frozenset[Kind] = frozenset(("seen", "thanks", "small_talk"))
#: Questions about what is printed or shown, and what only points at it.
_LABEL = frozenset(("serial", "version"))
_POINTS: frozenset[Kind] = frozenset(("yes", "done", *_SMALL))
_UNREAD: dict[Media, str] = {
    "": "unread_file",
    "voice": "unread_voice",
    "picture": "unread_picture",
    "file": "unread_file",
}


def how(turn: Turn, words: Words, before: Words | None) -> How:
    """How these words came. ``before``: what an edited message said before.

    The order of a person's words in the thread is that of the platform's stamps; where there are
    none, or outside the thread, words are taken in the order in which they are received.
    """
    fact = words.fact
    if fact.about:
        return "reaction"
    if fact.edited:
        return "same" if before is not None and _meant(before) == _meant(words) else "edit"
    if _unreadable(turn, words):
        return "unread"
    written = fact.claimed_at
    if written is not None and fact.place == "thread":
        newest = dict(turn.visit.written).get(fact.actor.user)
        if newest is not None and written < newest:
            return "overtaken"
    if to_team(turn, words):
        return "to_team"
    again = _again(turn, words)
    if not again and turn.visit.question and not _seen(turn.visit.question, fact):
        return "crossed"
    return again


def _unreadable(turn: Turn, words: Words) -> bool:
    """Whether all there is to it is what we cannot open. What a label says must be in words: a
    plain *here* under a picture of it proves nothing."""
    fact, question = words.fact, turn.visit.question
    if not fact.files and not fact.media:
        return False
    if not fact.words:
        return True
    if question is None or question.kind not in _LABEL:
        return False
    brief = len(fact.words.split()) <= _BRIEF
    return all(r.kind in _POINTS or (r.kind == "unclear" and brief) for r in words.readings)


def _again(turn: Turn, words: Words) -> How:
    """Whether it is the answer just given, sent once more."""
    given = turn.visit.given
    if given is None or not says_again(turn, words):
        return ""
    return "repeating" if given.repeated else "repeated"


def _meant(words: Words) -> list[tuple[object, ...]]:
    """What it comes to, without thanks and the like."""
    weighty = [r for r in words.readings if r.kind not in _SMALL]
    return [(r.kind, r.light, r.pattern, r.minutes, r.value) for r in weighty]


def _seen(question: Question, fact: Said) -> bool:
    """Whether the open question could be seen when the words were written."""
    if question.shown_at is not None and fact.claimed_at is not None:
        return fact.claimed_at >= question.shown_at
    return question.asked_at is not None or question.deputy_asked


def _under(question: Question, fact: Said) -> bool:
    """Whether the words were first written under the open question: then it is still open, and
    what they are edited to may answer it."""
    if question.shown_at is None or fact.claimed_at is None:
        return False
    return fact.claimed_at > question.shown_at


def kept(turn: Turn, words: Words, came: How) -> Words | None:
    """What of these words of the contact or deputy is to be acted on as usual; ``None``: nothing.

    What is urgent always is; and where a person has it, that person gets to read whatever the
    site writes.
    """
    question = turn.visit.question
    if came == "same" or (came == "reaction" and question is None):
        turn.answer = "nothing"
        return None
    if came == "" or words.has(*URGENT) or turn.visit.blocked:
        return words
    if came in ("overtaken", "to_team", "repeated"):
        turn.answer = "nothing"
        return None
    if came == "edit":
        return _edit(turn, words, question)
    if question is None:
        return words
    if came == "reaction":
        return _reaction(turn, words, question)
    if came == "unread":
        _unread(turn, words, question)
        return None
    return _crossed(turn, words, question)


def _edit(turn: Turn, words: Words, question: Question | None) -> Words | None:
    """An answer is given anew; but what is still open may be answered by an edit."""
    fact = words.fact
    if question is not None and _under(question, fact):
        return words
    turn.answer = "nothing"
    if fact.stamp not in turn.visit.edits:
        turn.emit(e.EditNoted(fact.stamp))
        if question is None:
            turn.say("edit_again", key="prompt")
        else:
            prompt(turn, question, "edit_again")
    return None


def _reaction(turn: Turn, words: Words, question: Question) -> Words | None:
    """A mark on our question counts like the same mark typed; merely *seen* needs no reply."""
    first = words.first
    if words.fact.about in question.stamps and first.kind not in _SMALL and not first.ask:
        return words
    turn.answer = "nothing"
    return None


def _unread(turn: Turn, words: Words, question: Question) -> None:
    """What we cannot open: say so; the second in a row offers a person."""
    plain = _UNREAD[words.fact.media]
    if turn.visit.unread > 1 and question.kind != "consent":  # this one is counted already
        prompt_with(turn, question, "unread_person", plain)
    else:
        prompt_with(turn, question, plain, "ask_again")


def _crossed(turn: Turn, words: Words, question: Question) -> Words | None:
    """A bare answer that was typed before the open question was to be seen is none to it."""
    left = tuple(r for r in words.readings if r.kind not in _BARE)
    if left:
        return replace(words, readings=left)
    if words.has("yes", "no", "done", "choice", "unclear"):
        prompt_with(turn, question, "crossed")
        turn.answer = "crossed"
    else:
        turn.answer = "nothing"
    return None


def point_out(turn: Turn, fact: Said) -> None:
    """Who wrote elsewhere is shown the thread, where the answer is: once a day."""
    if fact.place not in ("channel", "direct") or turn.answer != "ok" or not turn.messages:
        return
    zone = ZoneInfo(turn.visit.site.tz)
    day = datetime.fromtimestamp(turn.at / 1000, UTC).astimezone(zone).date().isoformat()
    if f"{fact.actor.user}/{day}" in turn.visit.pointed:
        return
    turn.emit(e.PointedOut(fact.actor.user, day))
    turn.answer = "elsewhere"


def stranger(turn: Turn, words: Words) -> None:
    """Somebody of neither site nor team: told kindly, once; the team hears what they said."""
    fact = words.fact
    turn.answer = "not_yours"
    if fact.actor.user in turn.visit.strangers or fact.about:
        return
    turn.emit(e.StrangerHeard(fact.actor.user))
    turn.say("not_you", key="prompt")
    brief = len(fact.words.split()) <= _BRIEF and words.first.kind in _SMALL
    if fact.words and not brief:
        turn.note("stranger_says", who=fact.actor.user, words=f"@p:{words.text}")


def relayed(turn: Turn, words: Words) -> None:
    """In private mode the contact sees nothing of what the team writes in the mirror, so the
    words of a person who has taken over are passed on, under that person's name."""
    fact = words.fact
    if fact.place != "mirror" or not fact.words or fact.edited or fact.about:
        return
    if turn.visit.with_person or any(call.taken_by for call in turn.visit.open_calls):
        turn.say("team_says", who=name_of(turn, fact.actor.user), words=f"@p:{words.text}")


def joined(turn: Turn, fact: Joined) -> None:
    """The contact or the deputy came into the channel while the other is at it: they alone get
    the lines that say where things stand."""
    person = turn.visit.person(fact.actor.user)
    if person is None or not joins_late(turn, person.user):
        turn.answer = "nothing"
        return
    turn.emit(e.CameIn(person.user))
    catch_up_aside(turn, person)


def deleted(turn: Turn, fact: Deleted, role: str) -> None:
    """What was said stays said: nothing is undone, the record notes it."""
    text = f"{person_key(fact.actor.user)}:{text_key(fact.of)}"
    turn.emit(e.Withdrawn(fact.actor.user, role, text))
    turn.answer = "nothing"
