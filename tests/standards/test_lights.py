"""The sample runbook's lights and our reading of them against IEC 60073.

Source: IEC 60073, coding principles for indicators and actuators; the meanings of colours for the
condition of equipment and the two flash rates, all from memory (the standard is not public):
red emergency or fault, yellow abnormal, green normal, blue mandatory action, white no meaning of
its own; slow 0.4 to 0.8 Hz (24 to 48 flashes a minute), normal 1.4 to 2.8 Hz (84 to 168).
"""

from typing import get_args

import pytest

from bot.model.light import mode_of
from bot.model.runbook import NORMAL_BAND, SLOW_BAND, Colour, Pattern
from tests.model.kit import book

SLOW_A_MINUTE, NORMAL_A_MINUTE = (24, 48), (84, 168)


def of_colour(colour: str) -> dict[str, Pattern]:
    return {n: p for n, p in book().patterns.items() if p.colour == colour}


def done_at(pattern: str) -> set[str]:
    """What the stages do when they see the pattern."""
    return {stage.lights[pattern].do for stage in book().stages if pattern in stage.lights}


def test_bands_are_the_standards_rates() -> None:
    assert tuple(hz * 60 for hz in SLOW_BAND) == pytest.approx(SLOW_A_MINUTE)
    assert tuple(hz * 60 for hz in NORMAL_BAND) == pytest.approx(NORMAL_A_MINUTE)


@pytest.mark.parametrize(
    ("flashes_a_minute", "mode"),
    [
        (24, "slow"), (36, "slow"), (48, "slow"), (84, "fast"), (120, "fast"), (168, "fast"),
        (23, None), (49, None), (66, None), (83, None), (169, None), (0, None),
    ],
)  # fmt: skip
def test_a_rate_is_read_by_its_band_and_not_guessed_between(
    flashes_a_minute: int, mode: str | None
) -> None:
    assert mode_of(flashes_a_minute / 60) == mode


def test_the_sample_units_rates_lie_inside_the_bands() -> None:
    blink = book().blink
    assert mode_of(blink.slow) == "slow"
    assert mode_of(blink.fast) == "fast"


def test_blue_is_not_used() -> None:
    # Blue: mandatory action. Nobody at a site is to act on a light alone.
    assert "blue" not in get_args(Colour)


def test_red_is_fault_and_always_calls_a_person() -> None:
    assert set(of_colour("red")) == {"fault"}
    assert done_at("fault") == {"call"}


def test_yellow_is_abnormal_and_never_a_way_on() -> None:
    assert set(of_colour("yellow")) == {"not_reached"}
    assert done_at("not_reached").isdisjoint({"next", "success", "wait"})


def test_success_is_green_and_steady() -> None:
    success = {
        name
        for stage in book().stages
        for name, seen in stage.lights.items()
        if seen.do == "success"
    }
    assert success
    assert all(
        (book().patterns[n].colour, book().patterns[n].mode) == ("green", "steady") for n in success
    )


def test_green_never_calls() -> None:
    assert all("call" not in done_at(name) for name in of_colour("green"))


def test_white_has_no_meaning_of_its_own() -> None:
    assert of_colour("white")
    assert all(done_at(name) <= {"wait"} for name in of_colour("white"))
