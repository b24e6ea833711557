"""How damped the displays are, as asked with the known weight."""

from dataclasses import replace

import pytest

from daq.sweep.plan import Plan
from daq.sweep.typed.progress import Display, TypedProgress

ONE = Display(9.80665, 0.5, 5, damping_s=4.0)
TWO = replace(ONE, saddle_newtons_per_unit=9.80665)


@pytest.mark.parametrize(
    ("display", "told_s", "slower_s"),
    [
        (ONE, {"hands": 1.0}, 1.0),
        (TWO, {"hands": 1.0}, 4.0),  # nobody was asked about the other: what the rig file says counts
        (TWO, {"hands": 1.0, "saddle": 2.0}, 2.0),
        (TWO, {"saddle": 6.0}, 6.0),
        (ONE, {}, 4.0),
    ],
)
def test_readings_wait_for_the_slower_display(display, told_s, slower_s):
    progress = TypedProgress(Plan(positions_mm=(70.0, 60.0, 50.0, 40.0, 30.0)), display)
    progress.take_damping(told_s)

    assert progress.display.damping_s == slower_s
