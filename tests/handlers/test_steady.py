"""A clock that was put a moment ago makes no signature too old."""

import pytest

from bot.jumps import JUMP_WAIT
from handlers.intake.steady import Steady


class Machine:
    """Both clocks of a machine."""

    def __init__(self) -> None:
        self.wall, self.monotonic = 1_773_340_000.0, 50.0
        self.steady = Steady(lambda: self.wall, lambda: self.monotonic)

    def pass_by(self, seconds: float) -> None:
        self.wall += seconds
        self.monotonic += seconds


def test_while_nobody_puts_it_the_wall_clock_counts() -> None:
    machine = Machine()
    machine.pass_by(86_400)
    assert machine.steady.nearest(0) == machine.wall
    machine.wall += 4  # a time service that sets it right
    assert machine.steady.nearest(0) == machine.wall


@pytest.mark.parametrize("put", [3600.0, -3600.0])
def test_after_a_jump_either_clock_may_be_right_for_a_minute(put: float) -> None:
    machine = Machine()
    right = machine.wall
    machine.wall += put
    assert machine.steady.nearest(right) == pytest.approx(right)
    assert machine.steady.nearest(machine.wall) == machine.wall
    machine.pass_by(JUMP_WAIT - 1)
    assert machine.steady.nearest(right) == pytest.approx(right + JUMP_WAIT - 1)
    machine.pass_by(1)
    assert machine.steady.nearest(right) == machine.wall  # nobody put it back: it is the time now
    assert machine.steady.nearest(right) == machine.wall


def test_a_jump_that_is_put_right_is_forgotten() -> None:
    machine = Machine()
    machine.wall += 3600
    machine.steady.nearest(0)
    machine.wall -= 3600
    machine.pass_by(10)
    assert machine.steady.nearest(0) == machine.wall
    machine.wall += 3600  # another one has its own minute
    machine.pass_by(JUMP_WAIT - 11)
    right = machine.wall - 3600
    assert machine.steady.nearest(right) == pytest.approx(right)
