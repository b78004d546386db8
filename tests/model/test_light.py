"""Flash rates as modes, and lights as the runbook's patterns."""

from pathlib import Path

import pytest

from bot.model.light import mode_of, pattern_of
from bot.model.reading import Light
from bot.model.runbook import Colour, Mode, Runbook
from bot.runbooks.load import load

BOOK = load(Path(__file__).parents[2] / "bot/practice/hollowmere/runbook.yaml")


@pytest.mark.parametrize(
    ("hz", "mode"),
    [
        # The bands of IEC 60073, from memory: slow 0.4 to 0.8 Hz, normal 1.4 to 2.8 Hz.
        (0.4, "slow"),
        (0.8, "slow"),
        (1.4, "fast"),
        (2.8, "fast"),
        (0.39, None),
        (0.81, None),
        (1.39, None),
        (2.81, None),
        # About 2 blinks in 5 seconds counts as slow: common practice, no published source.
        (2 / 5, "slow"),
        (0, None),
        (-1, None),
        (float("inf"), None),
        (float("nan"), None),
    ],
)
def test_the_mode_of_a_rate(hz: float, mode: Mode | None) -> None:
    assert mode_of(hz) == mode


def test_the_sample_runbook_blinks_inside_the_bands() -> None:
    assert mode_of(BOOK.blink.slow) == "slow"
    assert mode_of(BOOK.blink.fast) == "fast"


@pytest.mark.parametrize(
    ("colour", "mode", "pattern"),
    [
        ("white", "steady", "starting"),
        ("white", "slow", "loading"),
        ("green", "fast", "reaching"),
        ("green", "steady", "registered"),
        ("yellow", "slow", "not_reached"),
        ("red", "steady", "fault"),
        (None, "off", "dark"),
        ("red", None, "fault"),  # the only red there is
        ("yellow", None, "not_reached"),
        ("white", None, None),  # steady or blinking
        ("green", None, None),
        ("green", "slow", None),  # not in the runbook
        (None, "steady", None),  # three colours
        (None, None, None),
        ("green", "off", None),
    ],
)
def test_the_pattern_of_a_light(colour: Colour | None, mode: Mode | None, pattern: str) -> None:
    assert pattern_of(Light(colour, mode), BOOK) == pattern


def test_the_colours_mean_what_the_standard_says() -> None:
    # IEC 60073, from memory: red is danger or fault, yellow abnormal, green normal; blue is a
    # mandatory action and so not used here; white has no meaning of its own.
    stage = BOOK.stage("registry")
    done = {BOOK.patterns[name].colour: seen.do for name, seen in stage.lights.items()}
    assert done["red"] == "call"
    assert done["yellow"] == "check_cable"
    assert stage.lights["registered"].do == "success"
    assert BOOK.patterns["registered"].colour == "green"
    assert "blue" not in str(Runbook.model_json_schema())
