"""Words that come while nothing can be asked: before, after, on hold, stopped, with a person."""

import re

from bot.model.calls.life import raise_call
from bot.model.visit import checking, corrections, morning_after, ready_asks, returns
from bot.model.visit.answers import answered, raise_and_say
from bot.model.visit.asking import kind_line, reply, told
from bot.model.visit.listening import Words
from bot.model.visit.morning import reopened
from bot.model.visit.steps import current
from bot.model.visit.turn import Turn

#: States in which somebody of the site has a conversation with us.
UNDER_WAY = ("invited", "agreed", "running")
_BEFORE = ("planned", "held", "invited", "agreed")
#: What asks for nothing.
_KIND = frozenset(("yes", "seen", "thanks", "small_talk"))
#: Least digits of a telephone number.
_NUMBER = 5
#: A clock time beside a telephone number, however the reader takes the whole.
_CLOCK = re.compile(r"\b([01]?\d|2[0-3])[:.][0-5]\d\b|\b(1[0-2]|[1-9])\s?[ap]\.?m\b", re.IGNORECASE)


def heard_out(turn: Turn, words: Words) -> bool:
    """Whether the conversation can go on; if not, the person gets the one fitting line."""
    visit = turn.visit
    wants_person = words.first.kind in ("help", "stop")
    if visit.stopped_at is not None:
        pass_on(turn, words.text)
        reply(turn, "stopped_wait", "stopped_still")
    elif checking.says_cured(turn, words):
        pass  # who has the call has read the words, and we go on
    elif visit.with_person:
        pass_on(turn, words.text)
        if visit.helper and wants_person:
            turn.tell_staff(visit.helper, "helper_wanted", link=turn.link)
    elif visit.blocked:
        pass_on(turn, words.text)
        reply(turn, "person_has_it", "person_has_that_too")
    elif _not_arrived(turn, words):
        pass
    elif visit.state == "running" and turn.context.book.says_wrong_cable(words.fact.words):
        raise_and_say(turn, "help", "wrong_cable_out")
    elif morning_after.open_for(visit, turn.at):
        _in_the_morning(turn, words)
    elif wants_person and (visit.waits_hold or visit.state not in UNDER_WAY):
        raise_and_say(turn, "help", "help_coming")
    elif returns.damaged(turn, words) or returns.tracking_said(turn, words):
        pass
    elif visit.state in ("done", "watched", "backed_out"):
        _after(turn, words)
    elif visit.state in ("planned", "held", "rebook"):
        return _before(turn, words)
    elif visit.waits_hold:
        if not _small(turn, words):
            reply(turn, "held_wait", "write_help")
    else:
        return True
    return False


def _not_arrived(turn: Turn, words: Words) -> bool:
    """Before the evening there is nothing to install: the admin is called. A *yes* counts too."""
    visit = turn.visit
    invited = visit.state == "invited"
    if visit.state not in _BEFORE or (invited and words.has("no")):
        return False  # a no to the invitation goes to the admin as it is
    if not turn.context.book.says_not_arrived(words.fact.words):
        return False
    agrees = any(reading.kind == "yes" and not reading.ask for reading in words.readings)
    if invited and agrees and visit.question is not None:
        answered(turn, visit.question, "yes")
    if not ready_asks.not_here(turn):
        raise_and_say(turn, "missing_part", "not_arrived")
    return True


def _before(turn: Turn, words: Words) -> bool:
    """Nothing is agreed. A *no* to the invitation may still be taken back."""
    given = turn.visit.given
    again = turn.visit.state == "rebook" and given is not None and given.state == "invited"
    if again and turn.at < turn.visit.start and corrections.changes_mind(turn, words):
        return False
    if _small(turn, words):
        return False
    if turn.visit.state == "rebook" and turn.visit.out_of_service:
        raise_and_say(turn, "help", "line_down_still")
    else:
        reply(turn, "not_now", "write_help")
    return False


def _after(turn: Turn, words: Words) -> None:
    """The evening is over. Whatever sounds wrong goes to a person; the rest gets a kind line."""
    patterns = [r.pattern for r in words.readings if r.kind == "light" and r.pattern]
    stages = turn.context.book.stages
    wrong = {
        name
        for stage in stages
        for name, seen in stage.lights.items()
        if seen.do in ("check_cable", "check_power", "call")
    }
    bad = next((name for name in patterns if name in wrong), "")
    book, said = turn.context.book, words.fact.words
    trouble = book.says_trouble(said) or book.says_wrong_cable(said)
    if bad or trouble or words.has("no_signal", "power_cycled") or _odd_light(words):
        step = current(turn.visit, turn.context.book)
        raise_call(turn, "help", stage=step.stage.id, seen=bad)
        turn.say("after_wrong")
    elif not _small(turn, words):
        reply(turn, "all_done", "write_help")


def _in_the_morning(turn: Turn, words: Words) -> None:
    """The site was asked whether everything works, or has said that something does not."""
    if morning_after.answers(turn, words, odd=_odd_light(words)):
        return
    if reopened(turn.visit):
        pass_on(turn, words.text)
        reply(turn, "person_has_it", "person_has_that_too")
    elif not (words.has("question") and told(turn, words)):
        morning_after.ask_again(turn)


def _odd_light(words: Words) -> bool:
    """A light in a colour that no healthy light has, or one that is off."""
    return any(
        r.light is not None and (r.light.colour in ("red", "yellow") or r.light.mode == "off")
        for r in words.readings
        if r.kind == "light"
    )


def _small(turn: Turn, words: Words) -> bool:
    """Thanks, small talk, and what the runbook can answer."""
    if all(reading.kind in _KIND for reading in words.readings):
        if words.has("thanks", "small_talk"):
            kind_line(turn, "thanks" if words.has("thanks") else "small_talk")
        return True
    return words.has("question", "unclear") and told(turn, words)


def pass_on(turn: Turn, text: str) -> None:
    """Whoever has the call reads what the contact adds."""
    called = [call for call in turn.visit.open_calls if call.called_at is not None]
    lasting = [call for call in called if call.cleared_at is None]
    for call in lasting or called:  # a call that is over hears it only where there is no other
        turn.post_call(call, "call_contact_says", words=f"@p:{text}")


def gives_number(ask: str, words: str) -> bool:
    """Whether the words hold what was asked for: a number to call, or a time for it."""
    digits = sum(ch.isdigit() for ch in words)
    return digits >= (1 if ask == "callback_time" else _NUMBER)


def gives_time(words: str) -> bool:
    return _CLOCK.search(words) is not None
