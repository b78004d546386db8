"""Whatever is tried: a visit goes only to somebody who showed its code and then said yes."""

from hypothesis import given, settings
from hypothesis import strategies as st

from bot.model.fact import Actor
from tests.model.kit import CONTACT, STRANGER, Walk, context, plan

KEY = b"a key of the tests alone"
PEOPLE = (STRANGER, Actor("U0OTHER"))
DEEDS = ("leaves", "claims", "wrong", "shows", "shows_old", "yes", "no", "keeps", "waits", "done")
OFTEN = (*DEEDS, "shows", "shows", "yes", "yes", "yes")  # so that somebody does take over


def _code(walk: Walk, back: int) -> str:
    codes = [m.args["code"] for m in walk.messages if m.template == "handing_code"]
    return codes[-back] if len(codes) >= back else "CCC-999"


def _do(walk: Walk, deed: str, who: Actor) -> None:
    offer = walk.visit.handing.offer
    name = offer.id if offer else "h1"
    match deed:
        case "leaves":
            walk.say("Sam will finish", walk.visit.contact.user)
        case "claims":
            walk.say("I am Sam and I take over now, yes", who)
        case "wrong":
            walk.say("CCC-997", who, place="direct")
        case "shows":
            walk.say(_code(walk, 1), who, place="direct")
        case "shows_old":
            walk.say(_code(walk, 2), who, place="direct")
        case "yes":
            walk.press_action(f"h:{name}:take_on", who)
        case "no":
            walk.press_action(f"h:{name}:not_me", who)
        case "keeps":
            walk.press_action(f"h:{name}:keep_it", walk.visit.contact.user)
        case "waits":
            walk.advance(15)
        case _:
            walk.say("done", walk.visit.contact.user)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.sampled_from(OFTEN), st.sampled_from(PEOPLE)), max_size=12))
def test_nobody_takes_over_without_code_and_yes(deeds: list[tuple[str, Actor]]) -> None:
    walk = Walk(plan(deputy=None), context=context(code_key=KEY)).to("placing.place")
    _do(walk, "leaves", STRANGER)
    for deed, who in deeds:
        before, offer = walk.visit.contact, walk.visit.handing.offer
        _do(walk, deed, who)
        if walk.visit.contact == before:
            continue
        assert deed == "yes"
        assert offer is not None
        assert who.user in offer.shown
        assert walk.now < offer.until
        assert walk.visit.contact.user == who.user
        assert walk.visit.handing.offer is None  # spent
    assert walk.visit.contact.user in {CONTACT.user, *(one.user for one in PEOPLE)}
    assert walk.replayed() == walk.visit
