"""Whatever the corpus holds, said at any step by any of the site: what holds of every reply."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bot.model.message import Message
from tests.model.corpus import LANGUAGES, sentences
from tests.model.kit import CONTACT, DEPUTY, SECOND_UNIT, UNIT, Walk, plan

PLACES = [
    "invitation.consent",
    "begin.begin",
    "mobile_data.mobile",
    "inventory.unpack",
    "inventory.serial",
    "inventory.lead",
    "cabling.cable",
    "power_on.power",
    "loading.light",
    "registry.light",
]


def asking(messages: list[Message]) -> list[str]:
    """Texts with the buttons of an answer: those are what the contact is asked."""
    return [m.template for m in messages if any(b.action.startswith("a:") for b in m.buttons)]


@pytest.mark.parametrize("language", LANGUAGES)
@settings(max_examples=40, deadline=None)
@given(data=st.data())
def test_one_thing_is_asked_and_all_of_it_can_be_replayed(
    language: str, data: st.DataObject
) -> None:
    units = data.draw(st.sampled_from([(UNIT,), (UNIT, SECOND_UNIT)]))
    walk = Walk(plan(units)).to(data.draw(st.sampled_from(PLACES)))
    spoken = st.sampled_from([one.text for one in sentences(language, "tune")])
    for _ in range(3):
        user = data.draw(st.sampled_from([CONTACT.user, CONTACT.user, DEPUTY.user]))
        words = data.draw(spoken | st.tuples(spoken, spoken).map(", ".join))
        before = len(walk.messages)
        walk.say(words, user)
        new = [m for m in walk.messages[before:] if m.thread.startswith("site:")]
        assert len(asking(new)) <= 1, (words, [m.template for m in new])
        walk.advance(data.draw(st.sampled_from([0, 1, 3])))
    assert walk.replayed() == walk.state
