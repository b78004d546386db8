"""Presses that come too late: no trace of them, unless somebody was missed."""

from tests.model.kit import ADMIN, CONTACT, ONCALL, STRANGER, Walk, plan


def at(place: str) -> Walk:
    return Walk(plan()).begin().to(place)


def test_a_press_of_a_question_that_is_closed_leaves_no_trace() -> None:
    """It failed in the chat after it was decided, and was pressed again."""
    walk = at("placing.place")
    button = walk.button("done")
    assert walk.press_action(button) == "ok"
    journal, version, state = list(walk.journal), walk.version, walk.visit
    assert walk.press_action(button) == "stale"
    assert walk.press_action(button, ADMIN) == "stale"
    assert walk.press_action(button, STRANGER) == "not_yours"
    assert (walk.journal, walk.version, walk.visit) == (journal, version, state)


def test_a_press_of_a_call_that_is_closed_leaves_no_trace() -> None:
    walk = at("placing.place")
    walk.press("help")
    call = walk.visit.open_calls[-1].id
    walk.call_press("take")
    walk.call_press("close_fixed")
    assert not walk.visit.open_calls
    journal = list(walk.journal)
    assert walk.call_press("close_fixed", ONCALL, call) == "call_over"
    assert walk.journal == journal


def test_a_late_press_of_somebody_who_was_missed_is_heard() -> None:
    """Whatever they press: they are there."""
    walk = at("placing.place")
    button = walk.button("done")
    walk.press_action(button)
    walk.advance(240)
    assert "silent" in walk.causes(open_only=True)
    assert walk.press_action(button, CONTACT.user) == "stale"
    assert "silent" not in [c.cause for c in walk.visit.open_calls if c.cleared_at is None]
