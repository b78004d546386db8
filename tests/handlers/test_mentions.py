"""Orders in words: what is understood, and with what particulars."""

import pytest

from bot.model.fact import Actor
from bot.model.subject import of_visit
from handlers.mentions import ordered

ACTOR = Actor("U0002", oncall=True)
SITE = of_visit("w", "s")


@pytest.mark.parametrize(
    ("words", "order", "args"),
    [
        ("restart", "restart", {}),
        ("Ask again.", "ask", {}),
        ("take over", "take_over", {}),
        ("Hand back!", "hand_back", {}),
        ("catch up", "catch_up", {}),
        ("carrier TK-4711", "third_party", {"ticket": "TK-4711", "minutes": "240"}),
        ("carrier ticket TK-4711 90", "third_party", {"ticket": "TK-4711", "minutes": "90"}),
        ("Carrier TK-4711 90 min", "third_party", {"ticket": "TK-4711", "minutes": "90"}),
    ],
)
def test_an_order_is_understood(words: str, order: str, args: dict[str, str]) -> None:
    fact = ordered(words, SITE, ACTOR, "m1", 5)
    assert fact is not None
    assert (fact.order, fact.args) == (order, args)


@pytest.mark.parametrize("words", ["", "restart it please", "carrier", "the carrier is late again"])
def test_anything_else_is_no_order(words: str) -> None:
    assert ordered(words, SITE, ACTOR, "m1", 5) is None
