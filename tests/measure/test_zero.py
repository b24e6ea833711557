import numpy as np
import pytest

from daq.measure.calibration import CalibratedChannel, Calibration
from daq.measure.zero import NoZero, Recent, zero_of
from daq.values import Samples

CALIBRATION = Calibration(
    "test",
    "2026-01-01T00:00:00+00:00",
    (CalibratedChannel("hands", "force", (0.0, 0.001), 5000.0), CalibratedChannel("tilt", "tilt", (0.0, 0.001))),
)


def resting(hands_n=0.0, n=200):
    rng = np.random.default_rng(1)
    return np.column_stack([5000 + 1000 * np.broadcast_to(hands_n, n) + rng.normal(0, 50, n), np.full(n, 20.0)])


def test_the_zero_is_the_mean_of_the_rest_and_tells_how_far_it_has_moved():
    found = zero_of(resting(3.0), CALIBRATION)

    assert found.counts[0] == pytest.approx(8000, abs=20)
    assert found.moved_n == (pytest.approx(3.0, abs=0.02),)


def test_a_cell_that_still_moves_is_named():
    with pytest.raises(NoZero, match=r"hands still moves by .* let nobody touch the jig"):
        zero_of(resting(np.linspace(0.0, 4.0, 200)), CALIBRATION)


def test_a_rider_on_the_jig_is_no_zero():
    with pytest.raises(NoZero, match="hands carries 400 N: take the zero with nobody"):
        zero_of(resting(400.0), CALIBRATION)


def test_a_silent_board_gives_no_zero():
    with pytest.raises(NoZero, match="has sent 3 scans"):
        zero_of(resting(n=3), CALIBRATION)


def test_a_cell_that_hangs_far_below_its_zero_is_no_zero():
    with pytest.raises(NoZero, match="hands carries -400 N: take the zero with nobody"):
        zero_of(resting(-400.0), CALIBRATION)


def test_what_a_board_with_other_channels_sent_is_forgotten():
    """After it was changed for another within the two seconds that a zero is made from."""
    recent, none = Recent(), np.zeros(3)
    for channels in (2, 5):
        counts = np.full((3, channels), channels, dtype=np.int32)
        recent.feed(Samples("board", none.astype(np.int64), none, none, none, counts))

    assert recent.counts([0, 4]).tolist() == [[5.0, 5.0]] * 3
