"""A site without service that somebody of the team has in hand already."""

from typing import Any

from bot.model.message import Message
from tests.model.kit import ONCALL, SECOND, Walk, plan

EVERYBODY = "U0ONCALL U0SECOND U0ADMIN"


def _dead_line(walk: Walk) -> Any:
    return next(c for c in walk.visit.calls if c.cause == "dead_line")


def _dead() -> Walk:
    """A dead line that on-call was called for."""
    walk = Walk(plan()).to("registry.light")
    walk.press("light:not_reached")
    walk.press("done")
    walk.advance(20)
    walk.press("light:not_reached")
    walk.advance(2)
    assert walk.causes() == ["dead_line"]
    return walk


def _rings(walk: Walk, since: int) -> list[str]:
    """Whom each call for the missing service named, since then."""
    call = next(c for c in walk.visit.calls if c.cause == "without_service")
    thread = f":{call.id}"
    return [m.args["to_users"] for m in walk.messages[since:] if _ring(m, thread)]


def _ring(message: Message, thread: str) -> bool:
    return message.template in ("call", "call_again") and message.thread.endswith(thread)


def _with_the_carrier(minutes: int) -> Walk:
    walk = _dead()
    walk.call_press("take")
    answer = walk.order(
        "third_party", ONCALL, call=_dead_line(walk).id, ticket="VL-77", minutes=str(minutes)
    )
    assert answer == "ok"
    return walk


def test_a_line_that_is_with_its_carrier_rings_only_who_has_it() -> None:
    walk = _with_the_carrier(240)
    since, until = len(walk.messages), _dead_line(walk).due
    walk.advance(200)
    assert "without_service" in walk.causes()
    assert _rings(walk, since) == ["U0ONCALL"]
    assert "nobody_yet" not in walk.said
    assert "without_service" in walk.told  # new starts are held all the same
    walk.until(until + 1000)
    walk.advance(5)
    assert _rings(walk, since)[1] == EVERYBODY


def test_after_the_carriers_time_it_climbs_until_somebody_takes_it() -> None:
    walk = _with_the_carrier(120)
    since = len(walk.messages)
    walk.until(_dead_line(walk).due)
    walk.advance(12)
    assert _rings(walk, since)[:4] == ["U0ONCALL", EVERYBODY, "U0SECOND", "U0ADMIN"]


def test_closing_what_was_in_hand_sets_the_other_call_going() -> None:
    walk = _with_the_carrier(240)
    since = len(walk.messages)
    walk.advance(60)
    assert _rings(walk, since) == ["U0ONCALL"]
    walk.call_press("close_fixed", call=_dead_line(walk).id)
    walk.advance(6)
    assert _rings(walk, since)[1] == EVERYBODY


def test_a_dead_line_that_nobody_has_leaves_the_call_to_everybody() -> None:
    walk = _dead()
    since = len(walk.messages)
    walk.advance(90)
    assert _rings(walk, since)[0] == EVERYBODY
    assert "nobody_yet" in walk.said


def test_who_takes_the_dead_line_is_called_until_nothing_came_of_it() -> None:
    walk = _dead()
    walk.advance(40)
    walk.call_press("take", SECOND, call=_dead_line(walk).id)
    since = len(walk.messages)
    walk.until(_dead_line(walk).due - 1000)
    assert _rings(walk, since) == ["U0SECOND"]
    walk.advance(6)
    assert EVERYBODY in _rings(walk, since)
