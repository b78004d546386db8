"""Times of the trade, each common practice, no published source.

Power on to software loaded about 10 minutes; to the registry about 5 more; the whole visit about
40; after a cable check up to 10 minutes before calling for help; about 2 blinks in 5 seconds is
slow.
"""

import pytest

from bot.model.light import mode_of
from bot.model.policy import MINUTE
from bot.practice.device import Device
from tests.model.kit import Walk, book, plan

LOADED, REGISTRY, VISIT, AFTER_CHECK = 10, 5, 40, 10  # minutes
SEEDS = range(200)


def test_nobody_is_asked_about_loading_before_it_can_be_over() -> None:
    loading = book().stage("loading")
    assert LOADED <= loading.checkpoint <= LOADED * 1.5
    assert loading.window >= 2 * LOADED
    assert loading.shortest < LOADED


def test_nobody_is_asked_about_the_registry_before_it_can_be_reached() -> None:
    registry = book().stage("registry")
    assert REGISTRY <= registry.checkpoint <= REGISTRY * 2
    assert registry.window >= 2 * REGISTRY


def test_the_contact_is_told_forty_minutes() -> None:
    assert book().limits.visit == VISIT


def test_a_smooth_visit_is_over_in_about_forty() -> None:
    walk = Walk(plan()).begin()
    began = walk.now
    walk.to("power_on.power")
    walk.press("done")
    walk.advance(LOADED)
    walk.press("light:reaching")
    walk.advance(REGISTRY)
    walk.register()
    walk.press("done")
    assert walk.visit.state == "done"
    assert VISIT / 2 <= (walk.now - began) / MINUTE <= VISIT


def test_units_of_a_rehearsal_load_and_register_in_those_times() -> None:
    loaded, registered = [], []
    for seed in SEEDS:
        device = Device("HML-4F7K2Q", seed)
        device.power_on(0)
        at = device.registers_at()
        assert at is not None
        over = next(s for s in range(3_600) if device.light(s * 1_000) == "reaching")
        loaded.append(over / 60)
        registered.append(at / MINUTE - loaded[-1])
    assert sum(loaded) / len(loaded) == pytest.approx(LOADED, abs=1)
    assert sum(registered) / len(registered) == pytest.approx(REGISTRY, abs=1.5)


def cable_checked() -> Walk:
    """The cable was found loose and pressed home."""
    walk = Walk(plan()).to("registry.light")
    walk.press("light:not_reached")
    walk.press("done")
    return walk


def test_after_a_cable_check_the_unit_gets_its_ten_minutes() -> None:
    assert book().limits.after_cable_check == AFTER_CHECK
    walk = cable_checked()
    for _ in range(AFTER_CHECK - 1):
        walk.advance(1)
        walk.press("light:not_reached")
        assert walk.causes() == []


def test_and_then_a_person_is_called() -> None:
    walk = cable_checked()
    walk.advance(AFTER_CHECK)
    walk.press("light:not_reached")
    assert walk.causes() == ["dead_line"]


@pytest.mark.parametrize(("blinks", "seconds", "mode"), [(2, 5, "slow"), (10, 5, "fast")])
def test_counted_blinks(blinks: int, seconds: int, mode: str) -> None:
    assert mode_of(blinks / seconds) == mode
