"""A plan: its order, and what cannot be ridden."""

from dataclasses import replace

import pytest

from daq.sweep.plan import BadPlan, out_and_back
from daq.values import NAN
from tests.sweep.pedalled import PLAN


def test_out_and_back_interleaves_the_positions():
    assert out_and_back(80.0, 30.0, 11) == (80, 70, 60, 50, 40, 30, 35, 45, 55, 65, 75)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"positions_mm": (1.0, 2.0)}, "expected 5 to 60 setbacks"),
        ({"positions_mm": (50.0,) * 6}, "5 or more different"),
        ({"positions_mm": (5.0, 6.0, 7.0, 8.0, NAN)}, "between -100 and 300"),
        ({"dwell_s": 0.0}, "dwell_s: expected 3 to 600, got 0"),
        ({"cadence_rpm": NAN}, "cadence_rpm: expected 40 to 130"),
        ({"seed": 2**64}, "seed: expected 0 to"),
        ({"seed": -1}, "seed: expected 0 to"),
        ({"purpose": "check", "positions_mm": (50.0, 50.4)}, "2 or more different"),
        ({"purpose": "check", "positions_mm": (50.0,)}, "expected 2 to 60 setbacks"),
        ({"purpose": "check", "order": "adaptive"}, "looks for an onset"),
        ({"purpose": "confirm"}, "two different setbacks by turns"),
    ],
)
def test_a_plan_that_cannot_be_ridden_says_what_was_expected(change, says):
    with pytest.raises(BadPlan, match=says):
        replace(PLAN, **change)
