"""The tilt channel: degrees from counts, by known tilts (a digital level, or a wedge of known height)."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from daq.measure.calibration.fit import fit_polynomial
from daq.measure.calibration.model import CalibratedChannel
from daq.measure.calibration.tare import SAME_TILT_DEG, TareError

ODD_DEG = 0.2
"""A larger distance from the line cannot be the level's error; 0.5 deg already moves the saddle by 6 mm against
gravity."""


def tilt_channel(name: str, tilt_deg: npt.ArrayLike, counts: npt.ArrayLike) -> CalibratedChannel:
    """The tilt channel from known tilts (n,), nose up positive, and mean counts (n,) read there; its zero is level.

    Raises TareError for a span too small to determine a slope and for a tilt that does not fit the others, FitError for
    fewer than 3 readings.
    """
    tilt, read = np.asarray(tilt_deg, dtype=np.float64), np.asarray(counts, dtype=np.float64)
    fit = fit_polynomial(read, tilt, 1)
    if np.ptp(tilt) < 10.0 * SAME_TILT_DEG:
        raise TareError(
            f"{name}: expected tilts at least {10.0 * SAME_TILT_DEG:g} deg apart, got {np.ptp(tilt):.2f} deg"
        )
    off = np.abs(fit.residuals)
    if off.max() > ODD_DEG:
        worst = int(off.argmax())
        raise TareError(
            f"{name}: at {tilt[worst]:g} deg the reading is {off[worst]:.2f} deg off the line through all tilts; "
            "set the level again there, with the sign nose up positive, and read again"
        )
    constant, slope = (float(value) for value in fit.coefficients)
    return CalibratedChannel(
        name,
        "tilt",
        (constant, slope),
        zero_counts=-constant / slope,
        span=(float(tilt.min()), float(tilt.max())),
        span_counts=(float(read.min()), float(read.max())),
    )
