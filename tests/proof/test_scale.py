import numpy as np
import pytest

from daq.proof.scale import ScaleError, calibrated_scale, scale_fit, ways_of

READING = np.tile([100.0, 80.0, 60.0, 40.0, 20.0], 2)
FORWARD = np.repeat([True, False], 5)


def caliper(offset=0.0, slope=0.0, play=0.0, noise=0.0):
    return READING + offset + slope * (READING - 60.0) + np.where(FORWARD, 0.5, -0.5) * play + noise


def test_offset_slope_and_play_come_back():
    found = calibrated_scale(READING, caliper(3.0, 0.01, 1.0), FORWARD)

    assert (found.offset_mm, found.slope_error, found.backlash_mm) == pytest.approx((3.0, 0.01, 1.0))
    assert found.true_mm(100.0) == pytest.approx(103.4)


def test_play_and_the_calipers_ends_are_in_the_uncertainty_though_no_scatter_shows_them():
    found = calibrated_scale(READING, caliper(play=1.2), FORWARD, u_datum_mm=0.1)

    # play on either side with equal right: 1.2 / sqrt(12) (JCGM 100 4.3.7)
    assert found.u_mm(60.0) == pytest.approx(np.hypot(0.1, 1.2 / np.sqrt(12.0)))


def test_stated_uncertainties_of_a_scale_hold():
    rng = np.random.default_rng(20250304)
    many = caliper(0.3, 0.002, 0.2) + rng.normal(0.0, 0.05, (2000, 10))

    fit = scale_fit(READING, many, FORWARD)

    # Student's t of 7 degrees of freedom, 95 %: 2.365 (JCGM 100 table G.2); 2,000 draws scatter by 0.5 %
    truth = ((fit.offset_mm, 0.3), (fit.slope_error, 0.002), (fit.backlash_mm, 0.2))
    held = [np.mean(np.abs(found - true) <= 2.365 * fit.u_mm[:, i]) for i, (found, true) in enumerate(truth)]
    assert min(held) >= 0.935
    assert max(held) <= 0.965


def test_a_scale_read_from_one_side_only_tells_no_play():
    with pytest.raises(ScaleError, match="each reached coming forward and going back, got 0"):
        calibrated_scale(READING[:5], caliper()[:5], FORWARD[:5])


def test_ways_follow_from_the_order_of_the_positions():
    assert ways_of(np.array([110.0, 90.0, 70.0, 80.0, 100.0])).tolist() == [True, True, True, False, False]
