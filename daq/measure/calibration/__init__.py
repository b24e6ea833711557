"""What a count is worth: from converter counts to newtons, and how well that is known.

    model Calibration, CalibratedChannel, TiltTare: what is stored and travels with every sweep
    convert      counts to newtons and degrees, the same bits in blocks of any size
    uncertainty  the budget of a channel and its expanded uncertainty at any load
    content      to and from JSON, exactly

A live session needs these four. The files beside them make, judge and print a calibration. Nothing here knows a port, a
screen or the time.
"""

from __future__ import annotations

from daq.measure.calibration.content import from_dict, to_dict
from daq.measure.calibration.convert import apply, in_order, tare_holds
from daq.measure.calibration.model import CalibratedChannel, Calibration, CalibrationError, TiltTare
from daq.measure.calibration.uncertainty import Expanded, Term, Uncertainty, expanded, expanded_sum

__all__ = [
    "CalibratedChannel",
    "Calibration",
    "CalibrationError",
    "Expanded",
    "Term",
    "TiltTare",
    "Uncertainty",
    "apply",
    "expanded",
    "expanded_sum",
    "from_dict",
    "in_order",
    "tare_holds",
    "to_dict",
]
