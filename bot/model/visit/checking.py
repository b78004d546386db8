"""What the site lives on is tried, one thing after another; what fails is cured or called for.

First there is one simple thing to try, where the runbook knows one. Then on-call is called with
what fails, and the walk stands still until the site's people say that it works, or who was called
closes the call.
"""

from bot.model.calls.life import clear, raise_call
from bot.model.calls.state import Call
from bot.model.fact import Pressed
from bot.model.message import Button
from bot.model.policy import minutes
from bot.model.runbook_course import CHECK_ANSWERS, called, check_of
from bot.model.visit import event as e
from bot.model.visit.asks import put
from bot.model.visit.check_words import is_about
from bot.model.visit.course_events import Checked, Vouched
from bot.model.visit.finished import open_checks
from bot.model.visit.listening import Words, read_under
from bot.model.visit.state import Question, Visit
from bot.model.visit.steps import current
from bot.model.visit.turn import Turn
from bot.model.visit.walk import close_question, go_on

#: Our own ask: the simple thing was tried, does it work now?
TRIED = "try_first"


def answered(turn: Turn, question: Question, value: str) -> None:
    """``works`` and ``absent`` lead on; what is ``broken`` is tried once more, then called for."""
    if value != "broken":
        close_question(turn, value)
        turn.emit(Checked(question.item, "absent" if value == "absent" else "works"))
        go_on(turn)
        return
    close_question(turn, value, done=False)
    turn.emit(Checked(question.item, "broken"))
    if question.ask == TRIED or not _try_first(turn, question):
        _call(turn, question.item)


def _try_first(turn: Turn, question: Question) -> bool:
    """Ask for the one simple thing; false where the runbook knows none."""
    book = turn.context.book
    check = check_of(book.checks, question.item)
    if check is None or check.try_first is None:
        return False
    turn.emit(e.CheckAsked(TRIED))
    stage, wait = current(turn.visit, book).stage, minutes(check.wait)
    put(
        turn,
        ask=TRIED,
        kind="check",
        text=check.try_first,
        nudge="check_nudge",
        checkpoint=minutes(stage.checkpoint) + wait,
        window=minutes(stage.window) + wait,
        answers=CHECK_ANSWERS,
    )
    return True


def _call(turn: Turn, item: str) -> None:
    """Somebody is called; until then a button says that it works after all."""
    book = turn.context.book
    stage = current(turn.visit, book).stage.id
    call = raise_call(turn, "site_check", stage=stage, seen=called(book.checks, item, "en"))
    turn.say(
        "called_site_check",
        item=called(book.checks, item, turn.visit.lang),
        buttons=(Button(f"c:{call.id}:works", "b_works_now", "primary"),),
    )


# --- cured -----------------------------------------------------------------------------------


def failing(visit: Visit) -> Call | None:
    """The call about a check that the site's people may still cure themselves."""
    lasting = (c for c in visit.calls if c.blocks and c.cause == "site_check")
    return next(lasting, None) if visit.course.broken else None


def pressed(turn: Turn, fact: Pressed, role: str, name: str, value: str) -> None:
    """The button under the news that somebody was called: it works now."""
    call = failing(turn.visit)
    if role not in ("contact", "deputy"):
        turn.answer = "not_yours"
    elif call is None or call.id != name or value != "works" or turn.visit.stopped_at is not None:
        turn.answer = "stale"
    else:
        turn.emit(e.Heard(fact.actor.user, role, "press", fact.action))
        _cured(turn, call)


def says_cured(turn: Turn, words: Words) -> bool:
    """Whether the words say, while somebody is called for it, that it works; then we go on.

    A bare yes may be the answer to what a person of the team has asked, and is none to us.
    """
    call = failing(turn.visit)
    if call is None:
        return False
    asked = Question(
        id="",
        stage=call.stage,
        ask=TRIED,
        kind="check",
        text="",
        nudge="",
        message="",
        made_at=turn.at,
        checkpoint=0,
        window=0,
        answers=CHECK_ANSWERS,
    )
    found = [r for r in read_under(turn, words.fact, asked) if r.kind not in ("thanks", "seen")]
    if any(r.kind != "choice" or r.value != "works" or r.ask for r in found):
        return False
    book, said = turn.context.book, words.fact.words
    if not all(is_about(book, item, said, "works") for item in turn.visit.course.broken):
        return False
    if call.called_at is not None:
        turn.post_call(call, "call_contact_says", words=f"@p:{words.text}")
    _cured(turn, call)
    return True


def _cured(turn: Turn, call: Call) -> None:
    for item in turn.visit.course.broken:
        turn.emit(Checked(item, "works"))
    clear(turn, call, "works")
    visit = turn.visit
    if visit.state == "running" and not visit.blocked and not visit.waits_hold:
        turn.say("check_cured")
        go_on(turn)


def vouched(turn: Turn, by: str) -> None:
    """Who closes the call says that it is right: of what failed, or else of all that is open."""
    visit = turn.visit
    turn.emit(Vouched(visit.course.broken or open_checks(visit, turn.context.book), by))


def not_tried(turn: Turn) -> None:
    """The deadline ``checks``: the units are watched, and nobody said whether all works."""
    book = turn.context.book
    items = (called(book.checks, item, "en") for item in open_checks(turn.visit, book))
    raise_call(turn, "site_check", seen=", ".join(items))
