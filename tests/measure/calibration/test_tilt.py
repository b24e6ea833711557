import pytest

from daq.measure.calibration import Calibration, apply
from daq.measure.calibration.fit import FitError
from daq.measure.calibration.tare import TareError
from daq.measure.calibration.tilt import tilt_channel


def test_counts_become_degrees_and_level_is_zero():
    channel = tilt_channel("tilt", [-2.0, 0.0, 2.0, 4.0], [-2140.0, -140.0, 1860.0, 3860.0])

    calibration = Calibration("one", "2025-01-01T00:00:00Z", (channel,))

    assert apply(calibration, [[860]])[0, 0] == pytest.approx(1.0)
    assert channel.zero_counts == pytest.approx(-140.0)
    assert channel.span == (-2.0, 4.0)


def test_a_wrong_sign_at_one_tilt_is_found():
    with pytest.raises(TareError, match=r"off the line through all tilts; set the level again"):
        tilt_channel("tilt", [2.0, 0.0, 2.0, 4.0], [-2140.0, -140.0, 1860.0, 3860.0])


def test_tilts_too_close_or_too_few_are_refused():
    with pytest.raises(TareError, match=r"at least 1.5 deg apart, got 1.00 deg"):
        tilt_channel("tilt", [0.0, 0.5, 1.0], [0.0, 500.0, 1000.0])
    with pytest.raises(FitError, match="at least 3, got 2"):
        tilt_channel("tilt", [0.0, 5.0], [0.0, 5000.0])
