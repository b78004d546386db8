"""A site where something is missing does not begin: told in time, started only by a named person.

What a person may start anyway is a site that agreed. Danger, a held unit and the lack of a yes
are never passed by.
"""

from bot.model.calls.life import raise_call
from bot.model.fact import Ordered, Pressed
from bot.model.message import Button
from bot.model.policy import minutes
from bot.model.runbook_ready import Item
from bot.model.visit import event as e
from bot.model.visit import ready_events as r
from bot.model.visit.ready_asks import OF_CARTON, PREFIX, close, deputy_answers, set_item
from bot.model.visit.ready_gaps import Gap, gaps
from bot.model.visit.turn import Turn

#: Places for gaps in a text of the team: one for each item.
PLACES = 8
#: After so long past the start nobody starts it anyway: it needs another date.
_TOO_LATE = minutes(120)
#: Lines of the team by which a site is known that will not start, or did not.
_LINES = frozenset({"readiness_line", "readiness_stops"})
#: What an order says is wrong with an item that it says is not as it should be.
_WRONG: dict[Item, str] = {
    "carton": "damaged",
    "label": "other_serial",
    "line": "failed",
    "registry": "unknown",
    "contact": "away",
    "deputy": "away",
}


def missing(turn: Turn) -> tuple[Gap, ...]:
    oncall = turn.context.roster.staffed(turn.visit.start)
    if turn.at >= turn.visit.start and turn.context.reachable is False:
        oncall = False  # none of those whose turn it is has confirmed a way in this shift
    return gaps(turn.visit, turn.context.book, oncall)


def may_begin(turn: Turn) -> bool:
    """Whether the evening may begin; where it may not, the visit is put off and people told."""
    if turn.context.book.ready is None:
        return True
    found = () if turn.visit.ready.anyway else missing(turn)
    if found:
        _put_off(turn, found, "ready_put_off_now")
        return False
    close(turn, "the evening begins")
    return True


def team_due(turn: Turn) -> None:
    """The line on this site: what is missing, whose it is, and what happens if it stays so."""
    found = missing(turn)
    turn.emit(r.TeamTold(tuple(gap.item for gap in found)))
    called = {item for call in turn.visit.open_calls for item in OF_CARTON.get(call.cause, ())}
    if any(gap.item not in called for gap in found):  # else the admin's call says it all
        _line(turn, "readiness_line", found)


def put_off_due(turn: Turn) -> None:
    """Still not ready so close to the start: the contact is told in good time."""
    found = tuple(gap for gap in missing(turn) if gap.item != "oncall")
    if found:
        _put_off(turn, found, "ready_put_off")


def _put_off(turn: Turn, found: tuple[Gap, ...], text: str) -> None:
    items = tuple(gap.item for gap in found)
    turn.emit(r.PutOff(items))
    if not set(items) <= set(turn.visit.ready.told):  # else they know what happens now
        turn.emit(r.TeamTold(items))
        _line(turn, "readiness_stops", found)
    turn.emit(e.StateSet("rebook", f"not ready: {', '.join(items)}"))
    turn.say(text, start=turn.visit.start)


def _line(turn: Turn, template: str, found: tuple[Gap, ...]) -> None:
    names = ("go", "date")
    turn.offer(
        template,
        tuple(Button(f"r:{turn.visit.start}:{n}", f"b_ready_{n}") for n in names),
        start=turn.visit.start,
        **_named(found),
    )


def line_lost(turn: Turn, template: str) -> None:
    """The team's line on this site cannot be delivered: a call has other ways to them."""
    visit, stage = turn.visit, turn.context.book.stages[0]
    if template in _LINES and (visit.state == "agreed" or visit.ready.put_off_at is not None):
        raise_call(turn, "not_started", stage=stage.id)


def _named(found: tuple[Gap, ...]) -> dict[str, str]:
    """The gaps as arguments of a text: ``gap1``, ``gap2`` ...; the rest empty."""
    texts = [f"@x:{gap.text}" for gap in found]
    return {f"gap{n + 1}": texts[n] if n < len(texts) else "" for n in range(PLACES)}


# --- what people decide ------------------------------------------------------------------


def pressed(turn: Turn, fact: Pressed, name: str, verb: str, role: str) -> None:
    """A button of this part, ``r:START:VERB``; one of another date is of no use any more."""
    if name != str(turn.visit.start):
        turn.answer = "stale"
        return
    actor = fact.actor
    team = actor.oncall or actor.admin
    if verb in ("go", "date") and not team:
        turn.answer = "not_yours"
        return
    turn.emit(e.Heard(actor.user, role, "press", fact.action))
    match verb:
        case "go":
            _go(turn, actor.user)
        case "date":
            turn.tell_staff(actor.user, "readiness_how_date", link=turn.link)
        case "deputy_yes" | "deputy_no":
            turn.answer = deputy_answers(turn, verb)
        case _:
            turn.answer = "stale"


def _go(turn: Turn, by: str) -> None:
    answer = start_anyway(turn, by)
    if answer not in ("ok", "stale"):
        turn.tell_staff(by, f"order_{answer}", link=turn.link)
        answer = "ok"
    turn.answer = answer


def start_anyway(turn: Turn, by: str) -> str:
    """Begin although something is missing; gives the answer for the one who wants it."""
    visit, at = turn.visit, turn.at
    if visit.in_danger:
        return "not_safe"
    if visit.state == "held":
        return "held_unit"
    put_off = visit.state == "rebook" and visit.ready.put_off_at is not None
    if visit.state != "agreed" and not put_off:
        return "no_consent" if visit.state in ("planned", "invited", "rebook") else "stale"
    if at > min(visit.start + _TOO_LATE, visit.end or at):
        return "too_late"
    found = missing(turn)
    if not found or visit.ready.anyway:
        return "nothing"
    turn.emit(r.StartAnyway(by, tuple(gap.item for gap in found)))
    if put_off:
        turn.emit(e.StateSet("agreed", "a person starts it anyway"))
        if at < visit.start:
            turn.say("ready_after_all", start=visit.start)
    who = turn.context.roster.name(by)
    turn.note("readiness_anyway", who=who, start=visit.start, **_named(found))
    return "ok"


def ordered_start(turn: Turn, fact: Ordered) -> None:
    turn.answer = start_anyway(turn, fact.actor.user)


def ordered_item(turn: Turn, fact: Ordered) -> None:
    """The order ``ready``: ``item`` is as it should be (``value`` yes) or is not (no)."""
    section, value = turn.context.book.ready, fact.args.get("value", "yes")
    item = section.item(fact.args.get("item", "")) if section is not None else None
    if item is None or value not in ("yes", "no") or item.id not in _WRONG:
        turn.answer = "no_item"
        return
    good = value == "yes"
    word = turn.visit.ready.word_on(item.id)
    if word is not None and word.good == good and word.serials == turn.visit.serials:
        turn.answer = "nothing"
        return
    set_item(turn, item.id, good, fact.actor.user, "" if good else _WRONG[item.id])
    question = turn.visit.question
    if question is not None and question.ask.startswith(f"{PREFIX}{item.id}"):
        close(turn, "settled by the team")
