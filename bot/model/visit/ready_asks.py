"""What the people of a site are asked before the evening, and what their answers settle.

One thing at a time, by day, reminded once; what nobody answers is the admin's. The carton stays
shut: its serial is read from the outside.
"""

from bot.model.calls.life import raise_call
from bot.model.calls.state import Call
from bot.model.message import Button
from bot.model.policy import MINUTE, out_of_quiet
from bot.model.runbook import AskKind, Cause
from bot.model.runbook_ready import ASKED, Item, ReadySection
from bot.model.serial import normal
from bot.model.visit import event as e
from bot.model.visit import ready_events as r
from bot.model.visit.asks import ask_own
from bot.model.visit.ready_gaps import settled
from bot.model.visit.ready_times import next_ask, scaled
from bot.model.visit.state import Question
from bot.model.visit.timing import latest_nudge
from bot.model.visit.turn import Turn

#: The asks of this part are named so, by item.
PREFIX = "ready_"
_NUMBER = "ready_number"
_LABEL_AGAIN = "ready_label_again"
#: Causes of calls about the carton: who closes one as solved says that it is in order.
OF_CARTON: dict[Cause, tuple[Item, ...]] = {
    "missing_part": ("carton",),
    "damaged": ("carton",),
    "mismatch": ("label",),
}


def is_ours(question: Question | None) -> bool:
    return question is not None and question.ask.startswith(PREFIX)


def close(turn: Turn, answer: str) -> None:
    """The open ask of ours is over. The answer to the invitation stays the site's last one, so
    that it may still be taken back."""
    question = turn.visit.question
    if question is not None and is_ours(question):
        turn.emit(e.QuestionClosed(question.id, answer, False))
        turn.emit(r.AskOver())


def opened(turn: Turn) -> None:
    """The contact said yes: the asking begins, in its own time."""
    if turn.context.book.ready is not None and turn.visit.ready.opened_at is None:
        turn.emit(r.ReadyOpened())


# --- asking ------------------------------------------------------------------------------


def ask_due(turn: Turn) -> None:
    """The next thing the contact is asked."""
    section = turn.context.book.ready
    found = next_ask(turn.visit, section) if section is not None else None
    if section is not None and found is not None:
        _ask(turn, section, found[0])


def _ask(turn: Turn, section: ReadySection, item: Item) -> None:
    if item == "label":
        _put(turn, section, "ready_label", "serial", unit=_unread(turn))
    else:
        _put(turn, section, f"{PREFIX}{item}", "choice")


def _put(turn: Turn, section: ReadySection, ask: str, kind: AskKind, *, unit: str = "") -> None:
    """One of these asks, in times that fit what is left until the start."""
    ask_own(
        turn,
        ask,
        kind,
        checkpoint=scaled(turn.visit, section.remind) / MINUTE,
        window=scaled(turn.visit, section.answer_within) / MINUTE,
        unit=unit,
    )


def _unread(turn: Turn) -> str:
    """The first unit whose carton was not read yet."""
    read = turn.visit.ready.labels
    return next((unit.serial for unit in turn.visit.units if unit.serial not in read), "")


def unanswered(turn: Turn, question: Question) -> None:
    """Asked and reminded, and nothing came: what is still to be asked is the admin's now.

    The question stays, so that its buttons still count.
    """
    section = turn.context.book.ready
    turn.emit(e.WindowPassed(question.id))
    if section is not None:
        items = [i.id for i in section.items if i.id in ASKED]
        _silent(turn, *(item for item in items if not settled(turn.visit, item, True)))


def _silent(turn: Turn, *items: Item) -> None:
    turn.emit(r.ItemsSilent(items))
    names = {f"gap{n}": f"@x:gap_{item}_silent" for n, item in enumerate(items, 1)}
    empty = {f"gap{n}": "" for n in range(1, 4)}
    turn.note("readiness_silent", start=turn.visit.start, **empty | names)


def deputy_due(turn: Turn) -> None:
    """The deputy is asked by a message of their own, reminded once, then the admin has it."""
    deputy, asked = turn.visit.deputy, turn.visit.ready.deputy_asked
    if deputy is None or len(asked) > 1:
        _silent(turn, "deputy")
        return
    turn.emit(r.DeputyAskedReady())
    turn.say_to(
        deputy,
        "ready_deputy",
        buttons=tuple(
            Button(f"r:{turn.visit.start}:{verb}", f"b_{verb}", "primary" if n == 0 else "")
            for n, verb in enumerate(("deputy_yes", "deputy_no"))
        ),
        start=turn.visit.start,
    )


# --- answers -----------------------------------------------------------------------------


def answered(turn: Turn, question: Question, value: str) -> None:
    """The contact answered one of these asks."""
    close(turn, value)
    match question.ask:
        case "ready_carton":
            _carton(turn, value)
        case "ready_label" | "ready_label_again":
            _label(turn, question, value)
        case _:
            _contact(turn, value)


def _by(turn: Turn) -> str:
    return turn.speaker or "site"


def set_item(turn: Turn, item: Item, good: bool, by: str, note: str = "") -> None:
    turn.emit(r.ItemSet(item, good, by, note))


def _carton(turn: Turn, value: str) -> None:
    if value == "carton_not_here":
        not_here(turn)
    elif value == "carton_damaged":
        set_item(turn, "carton", False, _by(turn), "damaged")
        _call(turn, "damaged", "ready_damaged", seen="@x:gap_carton_damaged")
    else:
        set_item(turn, "carton", True, _by(turn))
        _then_label(turn)


def seen_damaged(turn: Turn) -> bool:
    """Words of the site, before the evening, that the box is damaged; false where the runbook
    does not want it looked at."""
    section = turn.context.book.ready
    if section is None or section.item("carton") is None or turn.visit.state != "agreed":
        return False
    close(turn, "damaged")
    _carton(turn, "carton_damaged")
    return True


def _then_label(turn: Turn) -> None:
    """Who stands at the carton can read its label at once."""
    section = turn.context.book.ready
    wanted = section is not None and section.item("label") is not None
    if section is not None and wanted and not settled(turn.visit, "label", True):
        _ask(turn, section, "label")
    else:
        turn.say("ready_thanks", start=turn.visit.start)


def not_here(turn: Turn) -> bool:
    """The carton has not come: asked again later, or the admin is called when it is overdue.

    False where the runbook wants nothing of the kind.
    """
    section = turn.context.book.ready
    item = section.item("carton") if section is not None else None
    if section is None or item is None or turn.visit.state != "agreed":
        return False
    close(turn, "not here yet")
    set_item(turn, "carton", False, _by(turn), "not_here")
    due = turn.visit.start - round(item.days * 24 * 60 * MINUTE)
    if turn.at >= due:
        _call(turn, "missing_part", "not_arrived", seen="@x:gap_carton_not_here")
    else:
        turn.say("ready_not_here")
    return True


def _label(turn: Turn, question: Question, value: str) -> None:
    section, unit = turn.context.book.ready, question.unit
    if section is None:
        return
    if value == "same" or normal(value) == normal(unit):
        _label_right(turn, section, unit)
    elif (other := _other_here(turn, value)) and other not in turn.visit.ready.labels:
        _label_right(turn, section, other)  # they took the cartons in another order
    elif question.ask == _LABEL_AGAIN:
        set_item(turn, "label", False, _by(turn), "other_serial")
        seen = "" if value == "different" else value
        _call(turn, "mismatch", "ready_wrong_carton", seen=seen, unit=unit)
    else:
        _put(turn, section, _LABEL_AGAIN, "serial", unit=unit)


def _label_right(turn: Turn, section: ReadySection, unit: str) -> None:
    turn.emit(r.LabelRead(unit, _by(turn)))
    if _unread(turn):
        _ask(turn, section, "label")
    else:
        set_item(turn, "label", True, _by(turn))
        turn.say("ready_thanks", start=turn.visit.start)


def _other_here(turn: Turn, value: str) -> str:
    """The serial of this site's other unit, if that was read."""
    found = (u.serial for u in turn.visit.units if normal(u.serial) == normal(value))
    return next(found, "")


def _contact(turn: Turn, value: str) -> None:
    section = turn.context.book.ready
    if value == "contact_number" and section is not None:
        _put(turn, section, _NUMBER, "callback")
    elif value == "contact_no":
        from bot.model.visit.answers import rebook  # it builds on these asks

        set_item(turn, "contact", False, _by(turn), "away")
        rebook(turn, "the contact is away")
    else:
        set_item(turn, "contact", True, _by(turn))
        turn.say("ready_thanks", start=turn.visit.start)


def number_given(turn: Turn, text: str) -> None:
    """Words with another number to call, kept among the personal data at ``text``."""
    turn.emit(e.CallbackAgreed(text))
    close(turn, "number given")
    set_item(turn, "contact", True, _by(turn))
    turn.say("ready_thanks", start=turn.visit.start)


def number_refused(turn: Turn) -> None:
    """The number we have is not right, and no other is given: the admin finds a way."""
    close(turn, "no number")
    set_item(turn, "contact", False, _by(turn), "no_number")
    turn.say("ready_thanks", start=turn.visit.start)


def later(turn: Turn, question: Question) -> None:
    """Not now: there is no hurry, and they are asked again by day."""
    section, policy = turn.context.book.ready, turn.context.policy
    if section is None:
        return
    again = out_of_quiet(turn.at + scaled(turn.visit, section.remind), turn.visit.site.tz, policy)
    turn.emit(e.CheckpointMoved(min(again, max(turn.at, latest_nudge(question, policy)))))
    turn.say("ready_no_hurry", key="prompt")


def deputy_answers(turn: Turn, verb: str) -> str:
    """The deputy pressed a button of their own message."""
    deputy = turn.visit.deputy
    user = turn.speaker
    if deputy is None or user != deputy.user:
        return "not_yours"
    will = verb == "deputy_yes"
    set_item(turn, "deputy", will, user, "" if will else "away")
    turn.say_to(
        deputy, "ready_deputy_thanks" if will else "ready_deputy_no", start=turn.visit.start
    )
    return "ok"


def _call(turn: Turn, cause: Cause, template: str, *, seen: str = "", unit: str = "") -> None:
    stage = turn.context.book.stages[0].id
    raise_call(turn, cause, stage=stage, unit=unit, seen=seen)
    turn.say(template)


def closed(turn: Turn, call: Call, reason: str, by: str) -> None:
    """Who closes a call about the carton as solved says that it is in order now."""
    if turn.context.book.ready is None or turn.visit.state != "agreed" or reason == "rebook":
        return
    for item in OF_CARTON.get(call.cause, ()):
        word = turn.visit.ready.word_on(item)
        if word is not None and not word.good:
            set_item(turn, item, True, by)
