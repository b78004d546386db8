"""Escalations against RFC 8632, A YANG Data Model for Alarm Management.

Source: RFC 8632, the module ``ietf-alarms`` (typedefs ``severity``, ``writable-operator-state`` and
``operator-state``, leaf ``is-cleared``) and its text on the alarm life cycles: the resource's
(raised, cleared, changes of severity) and the operator's (acknowledging and closing, shelving).
The enumerations and their order are from memory.
"""

from typing import get_args

import pytest

from bot.model.calls.state import Operator
from bot.model.runbook import Severity
from tests.model.kit import ADMIN, CONTACT, ONCALL, Walk, book, plan

#: typedef severity, ascending (values 2 to 6); "cleared" is no severity of its own there.
RFC_SEVERITIES = ("indeterminate", "warning", "minor", "major", "critical")
#: typedef writable-operator-state, and what operator-state adds to it.
RFC_WRITABLE = ("none", "ack", "closed")
RFC_ADDED = ("shelved", "un-shelved")


def silent() -> Walk:
    """A contact fell silent at a stage, and on-call was called about it."""
    walk = Walk(plan(deputy=None)).to("loading.light")
    walk.advance(25)
    assert walk.causes() == ["silent"]
    return walk


def test_severities_are_those_of_the_rfc_in_its_order() -> None:
    ours = get_args(Severity)
    assert set(ours) < set(RFC_SEVERITIES)
    assert list(ours) == sorted(ours, key=RFC_SEVERITIES.index)
    # typedef severity: "indeterminate" is to be avoided; no cause of ours needs it.
    assert "indeterminate" not in ours
    assert "cleared" not in ours


def test_operator_states_are_those_of_the_rfc() -> None:
    ours = set(get_args(Operator))
    assert set(RFC_WRITABLE) < ours <= {*RFC_WRITABLE, *RFC_ADDED}


def test_the_sample_runbook_gives_every_cause_a_severity() -> None:
    severities = {cause: route.severity for cause, route in book().routing.items()}
    assert set(severities.values()) <= set(RFC_SEVERITIES)
    # X.733, which the RFC maps to: critical wants action at once.
    assert severities["danger"] == "critical"


def test_a_new_alarm_is_not_cleared_and_in_state_none() -> None:
    call = silent().visit.calls[-1]
    assert (call.cleared_at, call.operator) == (None, "none")


# is-cleared is the resource's, operator-state the operator's; neither moves the other.
@pytest.mark.parametrize("taken", [False, True])
def test_clearing_does_not_close(taken: bool) -> None:
    walk = silent()
    if taken:
        walk.call_press("take")
    walk.register()
    call = walk.visit.calls[-1]
    assert call.cleared_at == walk.now
    assert call.operator == ("ack" if taken else "none")
    assert call.open


def test_acknowledging_does_not_clear() -> None:
    walk = silent()
    assert walk.call_press("take") == "ok"
    call = walk.visit.calls[-1]
    assert (call.operator, call.taken_by, call.cleared_at) == ("ack", ONCALL.user, None)


def test_a_person_closes_what_is_cleared() -> None:
    walk = silent()
    walk.call_press("take")
    walk.register()
    assert walk.call_press("close") == "ok"
    call = walk.visit.calls[-1]
    assert call.operator == "closed"
    assert call.cleared_at is not None


def test_closing_what_is_not_cleared_needs_a_reason_and_does_not_clear_it() -> None:
    walk = silent()
    walk.call_press("take")
    walk.call_press("close")
    assert walk.visit.calls[-1].open  # only asked why
    assert walk.call_press("close_fixed") == "ok"
    call = walk.visit.calls[-1]
    assert (call.operator, call.reason, call.cleared_at) == ("closed", "fixed", None)


def test_only_an_operator_moves_the_operator_state() -> None:
    walk = silent()
    for verb in ("take", "close", "close_fixed", "later"):
        assert walk.call_press(verb, CONTACT.user) == "not_yours"
    assert walk.visit.calls[-1].operator == "none"


def test_shelving_ends_and_the_call_is_made_again() -> None:
    walk = silent()
    walk.call_press("take")
    assert walk.call_press("later") == "ok"
    call = walk.visit.calls[-1]
    assert (call.operator, call.cleared_at) == ("shelved", None)
    walk.until(call.due)
    walk.advance(1)
    assert walk.visit.calls[-1].operator == "none"


def test_critical_is_never_shelved() -> None:
    # Our own rule, stricter than the RFC.
    walk = Walk(plan()).to("loading.light")
    walk.say("there is smoke")
    walk.call_press("take", ADMIN)
    assert walk.visit.calls[-1].severity == "critical"
    assert walk.call_press("later", ADMIN) == "not_critical"
    assert walk.visit.calls[-1].operator == "ack"
