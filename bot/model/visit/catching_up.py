"""Three lines for who comes late: where we are, what is done, what is asked now."""

from typing import Any

from bot.model.visit.asks import particulars, prompt
from bot.model.visit.state import Person
from bot.model.visit.steps import current, steps
from bot.model.visit.turn import Turn

#: The text with the three lines; a runbook's answer that names it gives them.
PROGRESS = "where_we_are"


def catch_up(turn: Turn) -> None:
    """In the visit's thread, with the buttons of what is asked."""
    question = turn.visit.question
    if turn.visit.state != "running":
        over = turn.visit.state == "watched" or not turn.visit.live
        turn.say("where_done" if over else "where_before", key="prompt", **_lines(turn))
    elif question is not None:
        again = turn.visit.replied == PROGRESS
        prompt(turn, question, question.nudge if again else PROGRESS, **_lines(turn))
    else:
        turn.say(PROGRESS, key="prompt", **_lines(turn))


def catch_up_aside(turn: Turn, person: Person) -> None:
    """To one person of the site, alone."""
    turn.say_to(person, PROGRESS, **_lines(turn))


def catch_up_staff(turn: Turn, user: str) -> None:
    """To one person of the team, alone: the contact is not disturbed."""
    turn.tell_staff(user, "where_for_team", **_lines(turn))


def joins_late(turn: Turn, user: str) -> bool:
    """Whether these are the first words or the first press of one of the site, when the other
    has begun: to be looked at before they are noted."""
    visit = turn.visit
    late = visit.state == "running" and visit.question is not None and not visit.blocked
    return late and bool(visit.joined) and user not in visit.joined


def told_first(turn: Turn) -> None:
    """The three lines without buttons: what the newcomer said or pressed is acted on next."""
    turn.say(PROGRESS, **_lines(turn))


def _lines(turn: Turn) -> dict[str, Any]:
    visit, book = turn.visit, turn.context.book
    step, question = current(visit, book), visit.question
    given = particulars(turn, question) if question is not None else {}
    return {
        "serial": "",
        "start": visit.start,
        **given,
        "at": f"@x:{step.stage.plain}" if step.stage.plain else "@x:at_other",
        "done": visit.step,
        "steps": len(steps(book, visit)),
        "asked": f"@x:{question.nudge}" if question is not None else f"@x:{_why_not(turn)}",
    }


def _why_not(turn: Turn) -> str:
    """Why nothing is asked at the moment."""
    visit = turn.visit
    if visit.stopped_at is not None:
        return "now_stopped"
    if visit.blocked:
        return "now_person"
    return "now_hold" if visit.waits_hold else "now_nothing"
