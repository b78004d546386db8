"""Passing the visit on: a code for whoever takes over, and their own yes.

The contact gets the code alone. Who writes it to us, anywhere we can read, is asked alone whether
they take over; nothing but their own press makes them the contact, and ends the code. Whoever only
says that they are somebody is a stranger as before.
"""

from bot.model.calls.life import clear, raise_call
from bot.model.fact import Actor, Pressed
from bot.model.message import Button
from bot.model.people import person_key
from bot.model.policy import MINUTE, minutes
from bot.model.visit import handing_events as e
from bot.model.visit.asks import put_again
from bot.model.visit.code import code_of, codes_in, mark_of
from bot.model.visit.event import StrangerHeard
from bot.model.visit.handing import CodeOffer
from bot.model.visit.listening import Words, lang_of
from bot.model.visit.outside import UNDER_WAY
from bot.model.visit.state import Person
from bot.model.visit.steps import current, steps
from bot.model.visit.turn import Turn

#: Wrong codes in the visit's own thread after which its code no longer holds.
_WRONG = 5
#: How many may be asked at once whether they take over.
_ASKED = 3
#: Between telling that somebody has to go and calling about it, at the least.
_SOON = 5 * MINUTE
#: How long a code holds beyond the time at which its giver goes.
_AFTER = minutes(30)
_OFFERS = (
    Button("h:0:pass_on", "b_pass_on", "primary"),
    Button("h:0:nobody", "b_nobody"),
    Button("h:0:stay", "b_stay"),
)


def pass_on(turn: Turn, by: str, leaves_at: int | None = None) -> None:
    """Make a code for whoever takes over and give it to the person ``by``, alone."""
    leaving, person = turn.context.book.leaving, turn.visit.person(by)
    key = turn.context.code_key
    if leaving is None or person is None or not key:
        nobody(turn)
        return
    leaves = _leaves(turn, leaves_at)
    number = f"h{turn.visit.handing.made + 1}"
    code = code_of(key, turn.visit.wave, turn.visit.id, number, turn.fact.id)
    good = turn.at + minutes(leaving.code)
    until = good if leaves is None else max(good, leaves + _AFTER)
    due = turn.at + minutes(leaving.wait) if leaves is None else leaves
    offer = CodeOffer(number, by, mark_of(key, code), until)
    turn.emit(e.CodeMade(offer, max(due, turn.at + _SOON)))
    turn.index("code", offer.mark)
    keep = Button(f"h:{number}:keep_it", "b_keep_it")
    turn.say_to(person, "handing_code", buttons=(keep,), code=code, until=until)
    turn.say("handing_given", key="prompt")


def _leaves(turn: Turn, leaves_at: int | None) -> int | None:
    """When they go, where they have said so: now, or before."""
    handing = turn.visit.handing
    if leaves_at is None and handing.timed and handing.due is not None:
        return handing.due
    return leaves_at


def offer(turn: Turn, leaves_at: int | None) -> None:
    """They have to go and there is something left to do: ask whether somebody takes over."""
    leaving = turn.context.book.leaving
    assert leaving is not None
    wait = turn.at + minutes(leaving.wait)
    due = wait if leaves_at is None else max(leaves_at, turn.at + _SOON)
    turn.emit(e.LeavingSaid(due, leaves_at is not None))
    if leaves_at is None:
        turn.say("going_offer", buttons=_OFFERS, key="prompt")
    else:
        turn.say("going_offer_at", buttons=_OFFERS, key="prompt", until=leaves_at)


def nobody(turn: Turn) -> None:
    """Nobody at the site can: a person of the team hears of it."""
    turn.emit(e.LeavingOver("nobody can", code=True))
    call_person(turn)
    turn.say("going_nobody", key="prompt")


def call_person(turn: Turn) -> None:
    step = current(turn.visit, turn.context.book)
    raise_call(turn, "leaving", stage=step.stage.id, unit=step.unit)


# --- the code comes back -----------------------------------------------------------------


def shows_code(turn: Turn, words: Words, role: str) -> bool:
    """Whether the words hold a code to take this visit over, and were dealt with as such."""
    if turn.context.book.leaving is None or words.fact.edited or words.fact.about:
        return False
    given = [mark_of(turn.context.code_key, code) for code in codes_in(words.fact.words)]
    now = turn.visit.handing.offer
    user = words.fact.actor.user
    if not given:
        return _only_claims(turn, words, role)
    if now is None or now.until <= turn.at or not _can_change(turn):
        return role == "stranger" and _say_to(turn, user, "handing_wrong")
    if now.mark not in given:
        return role == "stranger" and _wrong(turn, user)
    if user == now.by:
        return _say_to(turn, user, "handing_own")
    if role in ("oncall", "admin"):
        return False  # the team goes on by taking over, not in the place of a contact
    if user not in now.shown and len(now.shown) < _ASKED:
        turn.emit(e.CodeShown(now.id, user))
    yes = Button(f"h:{now.id}:take_on", "b_take_on", "primary")
    no = Button(f"h:{now.id}:not_me", "b_not_me")
    return _say_to(turn, user, "handing_ask", (yes, no))


def _can_change(turn: Turn) -> bool:
    return turn.visit.state in UNDER_WAY and turn.visit.stopped_at is None


def _only_claims(turn: Turn, words: Words, role: str) -> bool:
    """Who says that they take over, and has not the code, is told that it is needed."""
    leaving, now = turn.context.book.leaving, turn.visit.handing.offer
    if role != "stranger" or now is None or leaving is None or now.until <= turn.at:
        return False
    if words.fact.place != "thread" or words.fact.actor.user in turn.visit.strangers:
        return False
    turn.emit(StrangerHeard(words.fact.actor.user))
    turn.say("handing_not_you", key="prompt")
    turn.answer = "not_yours"
    return True


def _wrong(turn: Turn, user: str) -> bool:
    """Not this visit's code. After some of them the code no longer holds, whoever tried."""
    turn.emit(e.CodeWrong(user))
    now = turn.visit.handing.offer
    if now is not None and now.wrong >= _WRONG:
        turn.emit(e.LeavingOver("wrong codes", code=False))
        giver = turn.visit.person(now.by)
        if giver is not None:
            turn.say_to(giver, "handing_stopped")
        turn.note("handover_codes")
    return _say_to(turn, user, "handing_wrong")


def _say_to(turn: Turn, user: str, template: str, buttons: tuple[Button, ...] = ()) -> bool:
    known = turn.visit.person(user)
    lang = lang_of(turn, user) if known is not None else turn.visit.lang
    turn.say_to(Person(person_key(user), user, lang), template, buttons=buttons)
    return True


# --- buttons -----------------------------------------------------------------------------


def pressed(turn: Turn, fact: Pressed, role: str) -> None:
    """``h:OFFER:VERB``; ``h:0:...`` are the choices of who has to go."""
    _, name, verb = fact.action.split(":", 2)
    if verb in ("pass_on", "nobody", "stay"):
        _choice(turn, fact.actor, role, verb)
        return
    now = turn.visit.handing.offer
    if now is None or now.id != name or not _can_change(turn):
        turn.answer = "stale"
        return
    if verb == "keep_it":
        _keep(turn, fact.actor)
    elif fact.actor.user not in now.shown:
        turn.answer = "not_yours"
    elif now.until <= turn.at:
        turn.answer = "stale"
    elif verb == "take_on":
        _take_on(turn, now, fact.actor.user)
    elif verb == "not_me":
        turn.emit(e.CodeDeclined(now.id, fact.actor.user))
        _say_to(turn, fact.actor.user, "handing_no")
        giver = turn.visit.person(now.by)
        if giver is not None:
            turn.say_to(giver, "handing_declined")
    else:
        turn.answer = "stale"


def _choice(turn: Turn, actor: Actor, role: str, verb: str) -> None:
    if role not in ("contact", "deputy"):
        turn.answer = "not_yours"
    elif turn.visit.handing.due is None or not _can_change(turn):
        turn.answer = "stale"
    else:
        choose(turn, actor.user, verb)


def choose(turn: Turn, user: str, choice: str) -> None:
    """What they answer to whether somebody takes over, pressed or typed."""
    if choice == "pass_on":
        pass_on(turn, user)
    elif choice == "nobody":
        nobody(turn)
    else:
        _stays(turn)
        turn.say("going_stay", key="prompt")


def _keep(turn: Turn, actor: Actor) -> None:
    """The code is given up by who asked for it."""
    now = turn.visit.handing.offer
    if now is None or actor.user != now.by:
        turn.answer = "not_yours"
        return
    _stays(turn)
    _say_to(turn, actor.user, "handing_kept")


def _stays(turn: Turn) -> None:
    turn.emit(e.LeavingOver("stays"))
    _settle_calls(turn)


def _settle_calls(turn: Turn) -> None:
    for call in turn.visit.open_calls:
        if call.cause == "leaving":
            clear(turn, call, "answer")


def _take_on(turn: Turn, now: CodeOffer, user: str) -> None:
    """The person is the contact from here on."""
    before, lang = turn.visit.contact, turn.visit.lang
    known = turn.visit.person(user)
    turn.emit(e.HandedOn(now.id, user, turn.visit.lang_of(known) if known else lang))
    turn.index("user", user)
    _settle_calls(turn)
    visit = turn.visit
    name = f"@p:{visit.contact.key}:name"
    deputy = visit.deputy is not None and visit.deputy.user == before.user
    turn.say_to(before, "handing_done_deputy" if deputy else "handing_done", who=name)
    turn.note("handover_note", who=name)
    turn.say_to(visit.contact, "handing_here", link=turn.link)
    _welcome(turn)


def _welcome(turn: Turn) -> None:
    """Where things stand, and what is asked now."""
    visit, book = turn.visit, turn.context.book
    if visit.state == "agreed":
        turn.say("handing_welcome_before", start=visit.start)
        return
    stage = current(visit, book).stage
    at = f"@x:{stage.plain}" if stage.plain else "@x:at_other"
    turn.say("handing_welcome", at=at, done=visit.step, steps=len(steps(book, visit)))
    if visit.question is not None and not visit.blocked:
        put_again(turn, visit.question)
