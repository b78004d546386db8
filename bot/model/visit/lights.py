"""What a light means where the visit stands: wait, go on, check a cable, call."""

from bot.model.calls.life import raise_call
from bot.model.policy import MINUTE, minutes
from bot.model.runbook import LightDo, Seen
from bot.model.visit import event as e
from bot.model.visit.asks import ask_own, ask_runbook, prompt
from bot.model.visit.state import Question
from bot.model.visit.steps import current, steps
from bot.model.visit.timing import latest_nudge
from bot.model.visit.turn import Turn
from bot.model.visit.walk import close_question, go_on

_SHORTEST_WAIT = 3 * MINUTE
#: How a question on its way says what the light already told.
_WHILE_ASKING = {
    "light_wait": "loading_seen",
    "light_too_early": "light_too_early",
    "light_give_time": "light_after_check",
}
#: What is asked of the contact, by what the light calls for.
CHECKS: dict[LightDo, str] = {"check_cable": "reseat", "check_power": "power_check"}


def saw(turn: Turn, question: Question, pattern: str) -> None:
    """The contact sees ``pattern``, one of the runbook's, while ``question`` is open."""
    seen = what_to_do(turn, pattern)
    turn.emit(e.LightSeen(pattern))
    asked = question.kind == "light" or question.ask in CHECKS.values()
    if seen is None or not (asked or seen.do == "call"):
        again = turn.visit.replied == "light_not_now"
        prompt(turn, question, question.nudge if again else "light_not_now")  # noted, on as before
        return
    match seen.do:
        case "wait":
            _wait(turn, question, seen.say or "light_wait", as_expected=True)
        case "next":
            close_question(turn, pattern)
            go_on(turn)
        case "success":
            _success(turn, question)
        case "check_cable" | "check_power":
            _check(turn, question, seen, pattern)
        case "call":
            _call(turn, seen, pattern)


def what_to_do(turn: Turn, pattern: str) -> Seen | None:
    """What the stage says of a light; where it says nothing, a fault of a later one is a fault."""
    book = turn.context.book
    seen = current(turn.visit, book).stage.lights.get(pattern)
    if seen is not None or turn.visit.state != "running":
        return seen
    others = (stage.lights[pattern] for stage in book.stages if pattern in stage.lights)
    return next((other for other in others if other.do == "call"), None)


def _wait(turn: Turn, question: Question, template: str, *, as_expected: bool = False) -> None:
    """Tell when we ask again, never later than the window.

    While all is ``as_expected`` that is when the change is expected, else somewhat from now.
    """
    if question.kind != "light":  # the light answers what we asked them to check
        close_question(turn, "seen", done=False)
        watch(turn, template)
        return
    if turn.asked_now(question.message):  # it is on its way: its times begin when it arrives
        turn.reword(question.message, _WHILE_ASKING.get(template, question.text))
        return
    until = min(
        _next_look(turn.at, question, as_expected=as_expected),
        latest_nudge(question, turn.context.policy),
    )
    if until > turn.at:
        turn.emit(e.CheckpointMoved(until))
    else:  # the window is all but over, and whoever reports is not asked again
        turn.emit(e.Reported())
        until = question.last or until
    if template == turn.visit.replied == "light_wait" and _unchanged(turn):
        template = "light_still"
    turn.say(template, until=until, key="wait")


def _unchanged(turn: Turn) -> bool:
    """Whether the light is the one that was told before."""
    shown = [pattern for _, pattern in turn.visit.lights[-2:]]
    return len(shown) > 1 and shown[0] == shown[1]


def _next_look(at: int, question: Question, *, as_expected: bool) -> int:
    """When to look again; whoever reported in time is not asked before the checkpoint."""
    soon = at + max(_SHORTEST_WAIT, question.checkpoint // 2)
    if not as_expected or question.asked_at is None:
        return soon
    return max(soon, question.asked_at + question.checkpoint + question.extra)


def watch(turn: Turn, text: str) -> None:
    """Ask for the light once more, after a check; the unit now gets its time."""
    step = current(turn.visit, turn.context.book)
    turn.emit(e.CheckDone())
    ask = next(a for a in step.stage.asks if a.kind == "light")
    wait = minutes(turn.context.book.limits.after_cable_check)
    ask_runbook(turn, step.stage, ask, text=text, window=wait)


def _success(turn: Turn, question: Question) -> None:
    """A success colour. Too early it is asked again; alone it never closes the last stage."""
    stage = current(turn.visit, turn.context.book).stage
    since = turn.visit.powered_at
    if since is not None and turn.at - since < minutes(stage.shortest):
        _wait(turn, question, "light_too_early")
        return
    if stage.waits_for_registration:
        _wait(turn, question, "light_success_wait")
        return
    close_question(turn, "success")
    walk = steps(turn.context.book, turn.visit)
    following = walk[turn.visit.step + 1 : turn.visit.step + 2]
    waits = any(step.stage.waits_for_registration for step in following)
    go_on(turn, text="registry_after_success" if waits else "")


def _check(turn: Turn, question: Question, seen: Seen, pattern: str) -> None:
    """First the cable (or the lead), then its time, and only then a person."""
    ask = CHECKS[seen.do]
    if question.ask == ask:
        prompt(turn, question, question.nudge)  # not done yet
        return
    if ask not in turn.visit.checks:
        close_question(turn, pattern, done=False)
        turn.emit(e.CheckAsked(ask))
        ask_own(turn, ask, "confirm", checkpoint=5, window=15)
        return
    done = turn.visit.checked_at
    wait = minutes(turn.context.book.limits.after_cable_check)
    if seen.do == "check_cable" and done is not None and turn.at < done + wait:
        _wait(turn, question, "light_give_time")
        return
    _call(turn, seen, pattern)


def _call(turn: Turn, seen: Seen, pattern: str) -> None:
    step = current(turn.visit, turn.context.book)
    raise_call(turn, seen.cause, stage=step.stage.id, unit=step.unit, seen=pattern)
    turn.say(f"called_{seen.cause}" if seen.cause in ("fault", "dead_line") else "called")
