"""The daily check of a bar on two cells: what a frame does to them is expected where it was never measured."""

import numpy as np
import pytest

from daq.live.bench.weight_check import weight_check
from daq.measure.calibration import CalibratedChannel, Calibration, Uncertainty
from daq.measure.calibration.uncertainty import Term
from daq.rig_file import parse_rig
from tests.rigs import rig_text

RIG = parse_rig(rig_text(channels={"hands_left": "hands", "hands_right": "hands", "saddle": "saddle"}))
CELL = Uncertainty((Term("repeatability", absolute_n=0.03), Term("sensitivity", relative=2e-4)))
NAMES = ("hands_left", "hands_right", "saddle")
NO_CROSSTALK = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
LOAD_N = 49.03
"""5 kg."""


def checked(lost, *, crosstalk=None, load_n=LOAD_N):
    """5 kg on the bar, of which the frame takes this fraction past the cells. 100 counts a newton."""
    channels = tuple(CalibratedChannel(name, "force", (0.0, 0.01), uncertainty=CELL) for name in NAMES)
    each = np.broadcast_to(100.0 * 0.5 * load_n * (1.0 - lost), (200,))
    counts = np.column_stack([each, each, np.zeros(200)])
    return weight_check(
        RIG,
        Calibration("c1", "2026-01-01T00:00:00Z", channels, crosstalk),
        counts,
        np.zeros(3),
        on="hands",
        load_n=load_n,
        u_load_n=0.001,
        at_utc="2026-02-01T00:00:00Z",
    )


def test_little_cross_talk_that_was_never_measured_fails_no_check():
    """Both cells alone are known to 0.09 N (95 %), and 0.4 % of 5 kg is 0.2 N."""
    assert checked(0.004).passed
    assert not checked(0.004, crosstalk=NO_CROSSTALK).passed


def test_the_expected_interval_is_the_budgets_and_half_a_per_cent_of_the_weight_that_all_cells_share():
    known, unknown = checked(0.0, crosstalk=NO_CROSSTALK), checked(0.0)

    # by hand: a rectangle of half-width 0.245 N beside a normal of 0.043 N; 95 % of their sum by convolution
    rng = np.random.default_rng(1)
    drawn = rng.uniform(-0.005, 0.005, 1_000_000) * LOAD_N + rng.normal(0.0, known.expanded_n / 1.96, 1_000_000)
    assert known.expanded_n == pytest.approx(1.96 * np.hypot(0.03, 2e-4 * LOAD_N / 2) * 2**0.5, rel=0.01)
    assert unknown.expanded_n == pytest.approx(np.quantile(np.abs(drawn), 0.95), rel=0.02)


def test_a_weight_that_swings_is_told_however_little_is_known_of_the_frame():
    with pytest.raises(ValueError, match=r"hands still moves by 0.6 N"):
        checked(np.linspace(-0.004, 0.004, 200), load_n=2.0 * LOAD_N)


@pytest.mark.parametrize("lost", [0.01, -0.01])
def test_a_cell_that_is_wrong_by_what_matters_fails_and_is_told_of_the_cross_talk(lost):
    found = checked(lost)

    assert not found.passed
    assert found.sentence.endswith("calibrate, the cross-talk too, which was never measured")
    assert "cross-talk" not in checked(lost, crosstalk=NO_CROSSTALK).sentence
